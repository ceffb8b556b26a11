'use strict';
// Numbers as the program prints them: rounded half to even on the exact value, side in words.

/** Round like Python's round(): exactly, halves to the even digit. */
function roundHalf(x, places) {
  if (!Number.isFinite(x)) return x;
  // a double that is not a half lies further from it than the 40 digits more than are looked at
  const [whole, part] = Math.abs(x).toFixed(Math.min(100, places + 40)).split('.');
  let head = BigInt(whole + part.slice(0, places));
  const tail = part.slice(places);
  const half = '5' + '0'.repeat(tail.length - 1);
  if (tail > half || (tail === half && head % 2n === 1n)) head += 1n;
  const digits = head.toString().padStart(places + 1, '0');
  const cut = digits.length - places;
  const size = Number(`${digits.slice(0, cut)}.${digits.slice(cut)}0`);
  return x < 0 && size !== 0 ? -size : size;
}

/** The number to print, in the unit's own size. */
function shownNumber(unit, si) {
  let exact = si / unit.factor;
  if (unit.suffix === 'C') exact = si - 273.15;
  if (unit.suffix === 'F') exact = (si - 273.15) * 1.8 + 32.0;
  return roundHalf(roundHalf(exact, unit.decimals + 7), unit.decimals);
}

/** Magnitude without unit, beside a word that says the side. */
function sizeText(unit, si) {
  return Math.abs(shownNumber(unit, si)).toFixed(unit.decimals);
}

/** Magnitude with its unit; below zero is said in a word. */
function fullText(unit, si) {
  const minus = shownNumber(unit, si) < 0 ? 'minus ' : '';
  return `${minus}${sizeText(unit, si)} ${unit.word}`;
}

/** How far over a limit, or how much room: never a nought that is not one. */
function amountText(unit, si) {
  const step = (10 ** -unit.decimals).toFixed(unit.decimals);
  const nothing = shownNumber(unit, si) === 0;
  return nothing ? `less than ${step} ${unit.word}` : `${sizeText(unit, si)} ${unit.word}`;
}

/** A value of a check in words. */
function wordedValue(wording, unit, si) {
  const number = shownNumber(unit, si);
  const size = `${sizeText(unit, si)} ${unit.word}`;
  const said = number === 0 ? wording.zero : number > 0 ? wording.above : wording.below;
  const text = said.replace('{}', () => size);
  if (wording.aim === null) return text;
  return text + (number === wording.aim ? wording.at_aim : wording.off_aim);
}

/** A reaction in words. */
function reactionText(unit, si) {
  return shownNumber(unit, si) < 0 ? `pulls ${sizeText(unit, si)} ${unit.word}` : fullText(unit, si);
}

/** A move of a seat in words. */
function moveText(seat, unit, si) {
  const number = shownNumber(unit, si);
  if (number === 0) return 'stays';
  return `${number > 0 ? seat.raised : seat.lowered} ${sizeText(unit, si)} ${unit.word}`;
}
