'use strict';
// The field page: one step at a time, every reading judged at once by the bands of the sheets.

const facts = JSON.parse(document.getElementById('facts').textContent);
const el = (id) => document.getElementById(id);
const NO_PLATES = 'no plates';
const BITS = 1e-9; // what a reading may be off its printed limit: the last bits of a conversion
const KEY = `fitup field ${facts.check_code} crew ${facts.crew}`;
let kept = { stage: 0, step: 0, read: {}, side: {}, tick: {}, freed: {}, log: [] };

function made(name, text, className) {
  const element = document.createElement(name);
  if (text !== undefined) element.textContent = text;
  if (className) element.className = className;
  return element;
}

function say(element, text) {
  if (element.textContent !== text) element.textContent = text;
}

// --- what is kept on the phone ---------------------------------------------------------------

function remember() {
  try {
    localStorage.setItem(KEY, JSON.stringify(kept));
    el('no-memory').hidden = true;
  } catch {
    el('no-memory').hidden = false;
  }
}

function recall() {
  try {
    const found = JSON.parse(localStorage.getItem(KEY) || 'null');
    if (found && facts.stages[found.stage]?.steps[found.step]) kept = { ...kept, ...found };
    remember();
  } catch {
    el('no-memory').hidden = false;
  }
}

// --- judging ---------------------------------------------------------------------------------

/** A number as typed: comma or point, no sign; null where it is none. */
function typed(text) {
  const plain = text.trim().replace(',', '.');
  return /^\d+(\.\d*)?$|^\.\d+$/.test(plain) ? Number(plain) : null;
}

/** A reading in SI with the sign of its side; null while it is not given. */
function valueOf(entry, text, side) {
  const size = typed(text);
  if (size === null) return null;
  const si = size * facts.units[entry.unit].factor;
  if (!entry.sides.length || entry.unit === 'force') return side === entry.sides[1] && entry.sides.length ? -si : si;
  if (side === 'opening' && entry.opening !== null) return si - entry.opening;
  if (side === entry.sides[0]) return si;
  if (side === entry.sides[1]) return -si;
  return size === 0 ? 0 : null;
}

function packOf(text) {
  return text.trim() === NO_PLATES ? [] : text.trim().split(/[+\s]+/).filter(Boolean);
}

/** One reading: go on, hold or stop, with the reason. */
function judged(entry, text, side) {
  if (entry.what === 'support') return judgedSupport(entry, side);
  if (!text.trim()) return ['hold', 'not read'];
  if (entry.what === 'pack') return judgedPack(entry, packOf(text));
  const value = valueOf(entry, text, side);
  if (typed(text) === null) return ['hold', 'not a number: digits, a point or a comma, no sign'];
  if (value === null) return ['hold', 'say which side'];
  for (const meaning of ['STOP', 'HOLD']) {
    for (const band of entry.bands.filter((own) => own.meaning === meaning)) {
      const care = BITS * Math.max(1, Math.abs(value));
      const low = band.low === null || value >= band.low - care;
      const high = band.high === null || value <= band.high + care;
      if (low && high) continue;
      return [meaning.toLowerCase(), `${edgesText(entry, band)}${band.why ? ` (${band.why})` : ''}`];
    }
  }
  return ['go', 'inside'];
}

/** Where a band ends, in words. */
function edgesText(entry, band) {
  if (band.low === null) return `above ${endText(entry, band.high)}`;
  if (band.high === null) return `below ${endText(entry, band.low)}`;
  return `outside ${endText(entry, band.low)} to ${endText(entry, band.high)}`;
}

function judgedSupport(entry, side) {
  if (!side) return ['hold', 'not read'];
  return side === entry.should ? ['go', 'as planned'] : ['stop', `not ${entry.should}`];
}

function judgedPack(entry, built) {
  const [have, want] = [built.join('+'), entry.pack.join('+')];
  if (have === want) return ['go', 'as planned'];
  const should = want || NO_PLATES;
  const same = [...built].sort().join('+') === [...entry.pack].sort().join('+');
  return same ? ['hold', `in another order than ${should}`] : ['stop', `not ${should}`];
}

function endText(entry, si) {
  const unit = facts.units[entry.unit];
  if (!entry.sides.length || entry.unit === 'force') return fullText(unit, si);
  const side = shownNumber(unit, si) === 0 ? '' : entry.sides[si > 0 ? 0 : 1];
  return `${sizeText(unit, si)} ${unit.word} ${side}`.trim();
}

/** What stops the work or holds it, in words. */
function bandText(entry) {
  if (entry.what === 'pack') return 'STOP: any other pack';
  if (entry.what === 'support') return 'STOP: anything else';
  return entry.bands.map((band) => `${band.meaning} ${edgesText(entry, band)}`).join('. ');
}

const worst = (verdicts) => ['stop', 'hold', 'go'].find((v) => verdicts.includes(v)) || 'go';
const key = (stage, name) => `${facts.stages[stage].number} ${name}`;

function judgedHere(stage, entry) {
  return judged(entry, kept.read[key(stage, entry.name)] || '', kept.side[key(stage, entry.name)] || '');
}

/** One step: the gravest of its readings; what is not ticked holds. */
function stepVerdict(stage, number) {
  const step = facts.stages[stage].steps[number];
  const reasons = [];
  const verdicts = step.entries.map((entry) => {
    const [verdict, why] = judgedHere(stage, entry);
    if (verdict !== 'go') reasons.push(`${entry.label}: ${why}`);
    return verdict;
  });
  step.ticks.forEach((tick, i) => {
    if (!kept.tick[key(stage, `${number} ${i}`)]) reasons.push(`not ticked: ${tick}`);
  });
  if (reasons.length) verdicts.push('hold');
  return { verdict: worst(verdicts), reasons };
}

// --- one step on the screen ------------------------------------------------------------------

const stepKey = () => key(kept.stage, `step ${kept.step}`);
const mayGoOn = () => stepVerdict(kept.stage, kept.step).verdict === 'go' || Boolean(kept.freed[stepKey()]);

function show(focus) {
  const stage = facts.stages[kept.stage];
  const step = stage.steps[kept.step];
  el('stage').value = kept.stage;
  say(el('title'), step.title);
  say(el('counted'), `${stage.title}; step ${kept.step + 1} of ${stage.steps.length}`);
  const list = made('ul');
  for (const line of step.say) list.append(made('li', line));
  el('body').replaceChildren(list, ...step.ticks.map(tickLine), ...step.entries.map(entryBox));
  showVerdict();
  if (focus) el('title').focus();
}

function tickLine(text, i) {
  const line = made('p');
  const name = key(kept.stage, `${kept.step} ${i}`);
  const box = made('input');
  Object.assign(box, { type: 'checkbox', id: `tick-${i}`, checked: Boolean(kept.tick[name]) });
  box.addEventListener('change', () => {
    kept.tick[name] = box.checked;
    changed();
  });
  const label = made('label', ` ${text}`);
  label.htmlFor = box.id;
  line.append(box, label);
  return line;
}

function entryBox(entry, i) {
  const name = key(kept.stage, entry.name);
  const box = made('fieldset', undefined, 'entry');
  box.append(made('legend', entry.label));
  box.append(made('p', `Should read: ${entry.should}`, 'should'));
  if (bandText(entry)) box.append(made('p', bandText(entry), 'band'));
  const verdict = made('p', '', 'said');
  verdict.id = `judged-${i}`;
  if (entry.what === 'support') {
    box.append(sideChoice(entry, name, i), verdict);
    return box;
  }
  const label = made('label', entry.what === 'pack' ? 'Plates as built, bottom to top, joined by +'
    : `Reads, ${facts.units[entry.unit].word}`);
  const input = made('input');
  Object.assign(input, { type: 'text', id: `read-${i}`, value: kept.read[name] || '', autocomplete: 'off' });
  if (entry.what !== 'pack') input.inputMode = 'decimal';
  label.htmlFor = input.id;
  box.append(label, input);
  input.setAttribute('aria-describedby', verdict.id);
  input.addEventListener('input', () => {
    kept.read[name] = input.value;
    changed();
  });
  // a reading that said stop is written down before it can be typed over
  input.addEventListener('change', () => noteStop(entry));
  if (entry.what === 'pack') {
    const as = made('button', 'Built as planned');
    as.type = 'button';
    as.addEventListener('click', () => {
      input.value = entry.pack.join('+') || NO_PLATES;
      kept.read[name] = input.value;
      changed();
    });
    box.append(made('p'), as);
  }
  if (entry.sides.length && entry.unit !== 'force') box.append(sideChoice(entry, name, i));
  box.append(verdict);
  return box;
}

function sideChoice(entry, name, i) {
  const group = made('div', undefined, 'sides');
  group.setAttribute('role', 'radiogroup');
  group.setAttribute('aria-label', `Which side, ${entry.label}`);
  const choices = [...entry.sides, ...(entry.opening === null ? [] : ['opening'])];
  choices.forEach((choice, k) => {
    const dot = made('input');
    Object.assign(dot, { type: 'radio', name: `side-${i}`, id: `side-${i}-${k}`, checked: kept.side[name] === choice });
    const label = made('label', choice === 'opening' ? 'whole opening, as on the tape' : choice);
    label.htmlFor = dot.id;
    dot.addEventListener('change', () => {
      kept.side[name] = choice;
      changed();
      noteStop(entry);
    });
    const line = made('p');
    line.append(dot, ' ', label);
    group.append(line);
  });
  return group;
}

/** Where a step says stop or hold, the engineer alone lets the crew go on, by name. */
function letGoOn() {
  const who = el('free-name').value.trim();
  if (!who) {
    el('free-name').focus();
    return;
  }
  const { verdict, reasons } = stepVerdict(kept.stage, kept.step);
  kept.freed[stepKey()] = who;
  el('free-name').value = '';
  note(`${verdict.toUpperCase()} let go on by ${who}: ${reasons.join('; ')}`);
  changed();
}

function noteStop(entry) {
  const [verdict, why] = judgedHere(kept.stage, entry);
  if (verdict !== 'stop') return;
  const name = key(kept.stage, entry.name);
  note(`STOP, ${entry.label}: ${kept.read[name] || ''} ${['pack', 'support'].includes(entry.what) ? '' : facts.units[entry.unit].word} `
    + `${kept.side[name] || ''} ${why}`);
}

function note(text) {
  const line = `Stage ${facts.stages[kept.stage].number}, ${facts.stages[kept.stage].steps[kept.step].title}: ${text}`
    .replace(/\s+/g, ' ');
  if (kept.log.at(-1)?.text === line) return;
  kept.log.push({ at: new Date().toISOString(), text: line });
  remember();
  showLog();
}

function showLog() {
  const lines = kept.log.map(({ at, text }) => made('li', `${at.slice(0, 16).replace('T', ' ')} UTC: ${text}`));
  el('log').replaceChildren(...(lines.length ? lines : [made('li', 'nothing')]));
}

function changed() {
  // what the engineer let go holds for the readings as they were
  const { verdict } = stepVerdict(kept.stage, kept.step);
  if (verdict === 'go') delete kept.freed[stepKey()];
  remember();
  showVerdict();
}

const WORDS = { go: 'GO ON', hold: 'HOLD', stop: 'STOP' };

function showVerdict() {
  const { verdict, reasons } = stepVerdict(kept.stage, kept.step);
  const box = el('verdict');
  box.className = verdict;
  const parts = [made('strong', WORDS[verdict])];
  const lines = made('ul');
  const open = reasons.filter((line) => line.startsWith('not ticked: ') || line.endsWith(': not read'));
  const told = reasons.filter((line) => !open.includes(line));
  if (open.length) told.push(`${open.length} still to be read or ticked`);
  for (const line of [...told, ...(verdict === 'stop' ? facts.stop : [])]) lines.append(made('li', line));
  if (lines.children.length) parts.push(lines);
  if (kept.freed[stepKey()]) parts.push(made('p', `Let go on by ${kept.freed[stepKey()]}.`));
  box.replaceChildren(...parts);
  facts.stages[kept.stage].steps[kept.step].entries.forEach((entry, i) => {
    const [own, why] = judgedHere(kept.stage, entry);
    say(el(`judged-${i}`), `${WORDS[own]}: ${why}`);
    el(`judged-${i}`).parentElement.className = `entry ${own}`;
  });
  el('free').hidden = verdict === 'go' || Boolean(kept.freed[stepKey()]);
  const final = kept.step === facts.stages[kept.stage].steps.length - 1;
  el('on').disabled = final || !mayGoOn();
  el('back').disabled = kept.step === 0;
  el('end').hidden = !final;
  if (final) showEnd();
}

// --- the table as done -----------------------------------------------------------------------

/** What the crew reads of the form: the last ram reading, the greatest gauge, packs and checks. */
function readOf(stage, row) {
  const entries = facts.stages[stage].steps.flatMap((step) => step.entries);
  const jack = row.name.replace(/^\S+ /, '');
  if (row.entry) {
    const own = entries.find((entry) => entry.name === row.entry);
    return own ? given(stage, own) : null;
  }
  if (row.what === 'ram') {
    const own = entries.filter((entry) => entry.last && entry.jack === jack).at(-1);
    return own ? given(stage, own) : null;
  }
  if (row.what === 'load') {
    const gauges = entries.filter((entry) => entry.what === 'gauge' && entry.jack === jack);
    const loads = gauges.map((entry) => {
      const value = valueOf(entry, kept.read[key(stage, entry.name)] || '', '');
      return value === null ? null : value * entry.area;
    });
    if (!loads.length || loads.includes(null)) return null;
    const most = Math.max(...loads);
    return { read: fineText(facts.units.force, most), side: '' };
  }
  const own = entries.find((entry) => entry.name === row.name);
  return own ? given(stage, own) : null;
}

/** A force with three digits more than is printed: the load of a gauge reading, not rounded away. */
function fineText(unit, si) {
  return roundHalf(si / unit.factor, unit.decimals + 3).toFixed(unit.decimals + 3);
}

function given(stage, entry) {
  const name = key(stage, entry.name);
  const text = kept.read[name] || '';
  if (entry.what === 'pack') return text.trim() ? { pack: packOf(text).join('+') || NO_PLATES } : null;
  if (entry.what === 'support') return kept.side[name] ? { stands: kept.side[name] } : null;
  if (valueOf(entry, text, kept.side[name] || '') === null) return null;
  return { read: text.trim().replace(',', '.'), side: entry.whole ? 'opening' : kept.side[name] || '' };
}

function cell(text) {
  const safe = /^[=+\-@\t\r]/.test(text) ? `'${text}` : text;
  return /[",\n\r]/.test(safe) ? `"${safe.replaceAll('"', '""')}"` : safe;
}

function formText() {
  const [length, force] = [facts.units.move.word, facts.units.force.word];
  const lines = [['plan', 'stage', 'name', 'place', 'should_read', 'stop_beyond', 'or_beyond',
    `read_${length}`, 'side', `read_${force}`, 'pack', 'stands_on']];
  facts.stages.forEach((stage, s) => {
    for (const row of stage.form) {
      const got = readOf(s, row) || {};
      const read = got.read || '';
      lines.push([facts.check_code, String(stage.number), row.name, row.place, row.should_read,
        row.stop_beyond, row.or_beyond, row.unit === 'move' ? read : '', got.side || '',
        row.unit === 'force' ? read : '', got.pack || '', got.stands || '']);
    }
  });
  return `${lines.map((line) => line.map(cell).join(',')).join('\r\n')}\r\n`;
}

let saved = '';

function showEnd() {
  const stage = facts.stages[kept.stage];
  const all = stage.steps.map((_, i) => stepVerdict(kept.stage, i).verdict);
  const verdict = worst(all);
  const other = facts.crews > 1 ? ' The stage is reported when every crew has read its part.' : '';
  say(el('hold'), `Stage ${stage.number}, crew ${facts.crew}: ${WORDS[verdict]}. ${facts.of} ${facts.check_code}. `
    + `${facts.hold}${other}`);
  const text = formText();
  el('form').value = text;
  if (saved) URL.revokeObjectURL(saved);
  saved = URL.createObjectURL(new Blob([text], { type: 'text/csv' }));
  el('file').href = saved;
  el('file').download = `as-done-${facts.check_code}-crew-${facts.crew}.csv`;
}

function copyForm() {
  el('form').select();
  let done = false;
  try {
    done = document.execCommand('copy');
  } catch {
    done = false;
  }
  say(el('copied'), done ? 'Copied.' : 'Marked: copy it by hand.');
}

// --- start -----------------------------------------------------------------------------------

say(el('crew'), facts.heading);
say(el('of'), facts.of);
say(el('job'), facts.job);
say(el('code'), facts.check_code);
say(el('spoken'), facts.spoken);
say(el('caution'), facts.caution);
say(el('status'), `${facts.status}. Do not work by this page.`);
el('status').hidden = facts.approved;
facts.stages.forEach((stage, i) => {
  const option = made('option', stage.title);
  option.value = i;
  el('stage').append(option);
});
el('stage').addEventListener('change', () => {
  kept = { ...kept, stage: Number(el('stage').value), step: 0 };
  remember();
  show(true);
});
for (const [id, by] of [['back', -1], ['on', 1]]) {
  el(id).addEventListener('click', () => {
    kept.step += by;
    remember();
    show(true);
  });
}
el('free-go').addEventListener('click', letGoOn);
el('copy').addEventListener('click', copyForm);
el('clear').addEventListener('click', () => { el('clear-sure').hidden = false; });
el('clear-sure').addEventListener('click', () => {
  kept = { stage: 0, step: 0, read: {}, side: {}, tick: {}, freed: {}, log: [] };
  el('clear-sure').hidden = true;
  remember();
  showLog();
  show(true);
});
recall();
showLog();
show(false);
