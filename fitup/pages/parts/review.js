'use strict';
// The review page: controls, tables and drawings over the facts. Text is only ever set as text.

const facts = JSON.parse(document.getElementById('facts').textContent);
const el = (id) => document.getElementById(id);
const last = facts.film.length - 1;
const planned = facts.seats.map((seat) => seat.chosen);
let picks = [...planned];
let results = resultsOf(facts, picks);
let draft = [];

function made(name, text, className) {
  const element = document.createElement(name);
  if (text !== undefined) element.textContent = text;
  if (className) element.className = className;
  return element;
}

/** A table in a box that scrolls by itself; returns its body. */
function table(host, caption, headers) {
  const box = made('div', undefined, 'scroll');
  box.setAttribute('role', 'region');
  box.setAttribute('aria-label', caption);
  box.tabIndex = 0;
  const whole = made('table');
  whole.append(made('caption', caption));
  const head = made('tr');
  for (const header of headers) {
    const cell = made('th', header);
    cell.scope = 'col';
    head.append(cell);
  }
  const top = made('thead');
  top.append(head);
  const body = made('tbody');
  whole.append(top, body);
  box.append(whole);
  host.append(box);
  return body;
}

/** A row whose first cell heads it; returns its cells. */
function row(body, title, count) {
  const line = made('tr');
  const head = made('th', title);
  head.scope = 'row';
  line.append(head);
  const cells = [];
  for (let i = 0; i < count; i += 1) {
    cells.push(made('td'));
    line.append(cells[i]);
  }
  body.append(line);
  return { line, cells };
}

function say(cell, text, bad) {
  if (cell.textContent !== text) cell.textContent = text;
  cell.classList.toggle('bad', Boolean(bad));
}

// --- verdict ---------------------------------------------------------------------------------

function brokenText(broken) {
  if (!broken.length) return 'every check inside, no limit broken';
  return broken.length === 1 ? '1 check or limit broken' : `${broken.length} checks or limits broken`;
}

function showVerdict() {
  const changed = results.changed.filter(Boolean).length;
  const broken = brokenBy(facts, results);
  const share = `worst check at ${(100 * worstShare(facts, results)).toFixed(0)} % of its tolerance`;
  const whose = changed
    ? `Changed by hand at ${changed} ${changed === 1 ? 'seat' : 'seats'}, not certified`
    : `Plan ${facts.check_code} as certified`;
  say(el('state'), `${whose}: ${brokenText(broken)}; ${share}.`);
  el('unbroken').hidden = broken.length > 0;
  el('broken').replaceChildren(...broken.map((line) => made('li', line)));
  el('by-hand').hidden = changed === 0;
  say(el('command'), planCommand(facts, picks));
  say(el('copied'), '');
}

// --- joint -----------------------------------------------------------------------------------

/** Kelvin the steel is set away from the survey's. */
function steelApart() {
  const degree = facts.units.temperature.suffix === 'F' ? 1 / 1.8 : 0.5;
  return Number(el('steel').value) * degree;
}

/** What checks would read at a step of the work, with the steel as set. */
function readsAt(step) {
  const warm = facts.checks.map((check) => check.per_kelvin * steelApart());
  const film = facts.film[step];
  if (step === last) return results.reads.map((value, k) => value + warm[k]);
  const given = new Map(film.readings);
  const moves = film.settings.map((value, i) => value - facts.settings[i]);
  return facts.checks.map((check, k) => {
    if (step === 0) return check.reads_before + warm[k];
    const value = given.has(k) ? given.get(k) : check.reads + along(facts.A[k], moves);
    return value + warm[k];
  });
}

/** Values at the reference temperature at a step of the work. */
function valuesAt(step) {
  if (step === 0) return facts.checks.map((check) => check.before);
  if (step === last) return results.checks;
  const moves = facts.film[step].settings.map((value, i) => value - facts.settings[i]);
  return facts.checks.map((check, k) => check.plan + along(facts.A[k], moves));
}

function drawPanel(view, draw, joint, step, values) {
  const figure = made('figure');
  const when = step === 0 ? 'as surveyed' : step === last ? 'packs in place' : facts.film[step].label;
  const hand = step === last && results.changed.some(Boolean) ? ', changed by hand' : '';
  figure.append(made('figcaption', `${view}: ${when}${hand}`));
  const unit = facts.units.move;
  const said = joint.pairs.map((pair) => `${pair.id} `
    + [pair.step, pair.offset, pair.gap].map((k) => `${facts.checks[k].what} `
      + wordedValue(facts.checks[k].wording, unit, values[k])).join(', '));
  const title = `Joint ${joint.id}, ${view}, ${when}${hand}: ${said.join('; ')}`;
  figure.append(draw(joint, values, FACTORS[Number(el('factor').value)], title));
  return figure;
}

function showJoint() {
  const step = Number(el('step').value);
  const read = el('steel-read').checked;
  say(el('factor-said'), `${FACTORS[Number(el('factor').value)]} times`);
  const hand = results.changed.some(Boolean) && step < last ? ' (of the certified plan)' : '';
  say(el('step-said'), `${facts.film[step].label}${hand}`);
  el('step-back').disabled = step === 0;
  el('step-on').disabled = step === last;
  showSteel();
  const joint = facts.joints[Number(el('joint').value)];
  const panels = joint ? VIEWS.flatMap(([view, draw]) => [0, step === 0 ? last : step].map((shown) =>
    drawPanel(view, draw, joint, shown, read ? readsAt(shown) : valuesAt(shown)))) : [];
  el('views').replaceChildren(...panels);
}

function showSteel() {
  const apart = steelApart();
  const unit = facts.units.temperature;
  if (facts.steel.survey !== null) {
    say(el('steel-said'), fullText(unit, facts.steel.survey + apart)
      + (apart === 0 ? ', as at the survey' : ''));
    return;
  }
  const size = `${Math.abs(apart * (unit.suffix === 'F' ? 1.8 : 1)).toFixed(1)} ${unit.word}`;
  say(el('steel-said'), apart === 0 ? 'each segment as at its survey'
    : `each segment ${size} ${apart > 0 ? 'warmer' : 'cooler'} than at its survey`);
}

function setUpJoint() {
  facts.joints.forEach((joint, i) => {
    const option = made('option', `${joint.id}: back ${joint.back}, ahead ${joint.ahead}`);
    option.value = i;
    el('joint').append(option);
  });
  const degree = facts.units.temperature.suffix === 'F' ? 1 / 1.8 : 0.5;
  const most = Math.floor(facts.steel.apart / degree + 1e-9);
  Object.assign(el('steel'), { min: -most, max: most, value: 0 });
  Object.assign(el('step'), { max: last, value: last });
  const reference = fullText(facts.units.temperature, facts.steel.reference);
  say(el('reference-said'), `at the reference temperature ${reference}, where tolerances hold`);
  const fit = () => {
    const joint = facts.joints[Number(el('joint').value)];
    if (joint) el('factor').value = FACTORS.indexOf(fittingFactor(facts, joint));
    showJoint();
  };
  el('joint').addEventListener('change', fit);
  for (const id of ['factor', 'step', 'steel-reference']) el(id).addEventListener('input', showAll);
  el('steel-read').addEventListener('input', showAll);
  el('steel').addEventListener('input', showAll);
  for (const [id, by] of [['step-back', -1], ['step-on', 1]]) {
    el(id).addEventListener('click', () => {
      el('step').value = Number(el('step').value) + by;
      showAll();
    });
  }
  fit();
}

// --- packs -----------------------------------------------------------------------------------

const packRows = [];

function packLabel(seat, pack) {
  const move = moveText(seat, facts.units.move, pack.setting);
  if (seat.nut) return move;
  return `${packText(facts, seat, pack)}, ${fullText(facts.units.plate, packHeight(facts, pack))}, ${move}`;
}

function setUpPacks() {
  const body = table(el('packs'), 'Seats, looking ahead',
    ['Seat', 'Where', 'Pack now', 'Plan', 'Pack chosen', 'Move', 'Height']);
  facts.seats.forEach((seat, i) => {
    const { line, cells } = row(body, seat.id, 6);
    say(cells[0], `${seat.segment}, ${seat.place}`);
    say(cells[1], seat.nut ? 'nut' : packText(facts, seat, { plates: seat.present }));
    say(cells[2], packLabel(seat, seat.packs[seat.chosen]));
    const list = made('select');
    list.id = `pack-${i}`;
    list.setAttribute('aria-label', `Pack chosen at ${seat.id}`);
    seat.packs.forEach((pack, k) => {
      const option = made('option', packLabel(seat, pack) + (k === seat.chosen ? ' (plan)' : ''));
      option.value = k;
      list.append(option);
    });
    list.disabled = seat.packs.length < 2;
    list.addEventListener('change', () => choose(i, Number(list.value)));
    cells[3].append(list);
    packRows.push({ line, cells, list });
    const option = made('option', seat.id);
    option.value = i;
    el('plates-seat').append(option);
  });
  el('plates-seat').addEventListener('change', openSeat);
  el('thinner').addEventListener('click', () => stepPack(-1));
  el('higher').addEventListener('click', () => stepPack(1));
  el('planned').addEventListener('click', () => choose(seatOpen(), facts.seats[seatOpen()].chosen));
  el('undo').addEventListener('click', () => {
    picks = [...planned];
    openSeat();
    showAll();
    el('verdict').focus();
  });
  el('copy').addEventListener('click', copyLine);
}

const seatOpen = () => Number(el('plates-seat').value);

function choose(seat, pick) {
  picks[seat] = pick;
  el('plates-seat').value = seat;
  openSeat();
  showAll();
}

function stepPack(by) {
  const seat = facts.seats[seatOpen()];
  choose(seatOpen(), Math.min(Math.max(picks[seatOpen()] + by, 0), seat.packs.length - 1));
}

function showPacks() {
  facts.seats.forEach((seat, i) => {
    const { line, cells, list } = packRows[i];
    const pack = seat.packs[picks[i]];
    list.value = picks[i];
    line.classList.toggle('changed', results.changed[i]);
    say(cells[4], moveText(seat, facts.units.move, pack.setting));
    say(cells[5], seat.nut ? '-' : fullText(facts.units.plate, packHeight(facts, pack)));
  });
}

/** Take the pack of the seat chosen as a draft that plates are put to and taken from. */
function openSeat() {
  const seat = facts.seats[seatOpen()];
  draft = countsOf(facts, seat.packs[picks[seatOpen()]].plates);
  say(el('plates-of'), `Plate by plate at ${seat.id}: ${seat.rule}`);
  el('marks').replaceChildren(...(seat.nut ? [] : facts.plates.map(markLine)));
  showDraft(picks[seatOpen()]);
}

function markLine(plate, mark) {
  const line = made('li');
  const thickness = fullText(facts.units.plate, plate.measured);
  const count = made('output', String(draft[mark]));
  const button = (word, by) => {
    const key = made('button', word);
    key.type = 'button';
    key.setAttribute('aria-label', `${word} ${plate.mark}`);
    key.addEventListener('click', () => putPlate(mark, by));
    return key;
  };
  line.append(made('span', `${plate.mark}, ${thickness}`, 'what'), button('Out', -1), count, button('In', 1));
  return line;
}

/** The pack with these counts of plates; the one that moves the seat least where there are two. */
function packOf(seat, counts) {
  const same = (pack) => countsOf(facts, pack.plates).every((count, mark) => count === counts[mark]);
  return seat.packs.findIndex(same);
}

function putPlate(mark, by) {
  const seat = facts.seats[seatOpen()];
  draft[mark] = Math.min(Math.max(draft[mark] + by, 0), facts.plates[mark].stock);
  const pick = packOf(seat, draft);
  if (pick >= 0) {
    picks[seatOpen()] = pick;
    showAll();
  }
  showDraft(pick);
}

function showDraft(pick) {
  const seat = facts.seats[seatOpen()];
  if (!seat.nut) {
    [...el('marks').children].forEach((line, mark) => say(line.querySelector('output'), String(draft[mark])));
  }
  el('thinner').disabled = picks[seatOpen()] === 0;
  el('higher').disabled = picks[seatOpen()] === seat.packs.length - 1;
  el('planned').disabled = picks[seatOpen()] === seat.chosen;
  const figures = packLabel(seat, seat.packs[picks[seatOpen()]]);
  if (pick >= 0) {
    say(el('draft'), `In use: ${figures}. With it ${brokenText(brokenBy(facts, results))}.`);
    return;
  }
  const plates = draft.flatMap((count, mark) => Array(count).fill(mark));
  const height = fullText(facts.units.plate, packHeight(facts, { plates }));
  say(el('draft'), `${plates.length} plates, ${height}: not a pack that can be chosen here `
    + `(${seat.rule}; plates on hand; travel of seat and jacks). All figures still show ${figures}.`, true);
}

async function copyLine() {
  const range = document.createRange();
  range.selectNodeContents(el('command'));
  window.getSelection().removeAllRanges();
  window.getSelection().addRange(range);
  let done = false;
  try {
    done = document.execCommand('copy');
  } catch {
    done = false;
  }
  say(el('copied'), done ? 'Copied.' : 'Marked: copy it with the keyboard.');
}

// --- checks, loads, limits, plates -----------------------------------------------------------

const checkRows = [];

function setUpChecks() {
  const headings = [...new Set(facts.checks.map((check) => check.heading))];
  for (const heading of headings) {
    const body = table(el('checks'), heading, ['Where', 'What', 'As surveyed', 'Plan', 'Shown here',
      'From its aim', 'Would read', 'Tolerance', 'u', 'Verdict']);
    facts.checks.forEach((check, k) => {
      if (check.heading !== heading) return;
      const { line, cells } = row(body, check.place, 9);
      const unit = facts.units[check.unit];
      say(cells[0], check.what);
      say(cells[1], wordedValue(check.wording, unit, check.before));
      say(cells[2], wordedValue(check.wording, unit, check.plan));
      const allowed = check.leave_within === null ? check.tolerance : check.leave_within;
      say(cells[6], allowed === null ? '-' : fullText(unit, allowed));
      say(cells[7], fullText(unit, check.u));
      checkRows[k] = { line, cells };
    });
  }
}

function verdictText(check, value) {
  const inside = checkInside(check, value);
  if (inside === null) return 'reported only';
  if (!inside) return `OUTSIDE by ${amountText(facts.units[check.unit], checkOver(check, value))}`;
  return check.leave_within === null ? 'inside' : 'left as it is';
}

/** How much nearer to its aim a check comes than in the plan, or further from it. */
function changeText(check, value) {
  const unit = facts.units[check.unit];
  if (wordedValue(check.wording, unit, value) === wordedValue(check.wording, unit, check.plan)) return '-';
  const apart = Math.abs(value - check.target) - Math.abs(check.plan - check.target);
  if (shownNumber(unit, apart) === 0) return 'as far';
  return `${sizeText(unit, apart)} ${apart > 0 ? 'further' : 'nearer'}`;
}

function showChecks() {
  const reads = readsAt(Number(el('step').value));
  facts.checks.forEach((check, k) => {
    const { cells } = checkRows[k];
    const unit = facts.units[check.unit];
    const value = results.checks[k];
    say(cells[3], wordedValue(check.wording, unit, value));
    say(cells[4], changeText(check, value));
    say(cells[5], wordedValue(check.read_wording, unit, reads[k]));
    say(cells[8], verdictText(check, value), checkInside(check, value) === false);
  });
  say(el('checks-note'), 'Values at the reference temperature, all packs in place. "Would read": at the step '
    + `of the work chosen above (${facts.film[Number(el('step').value)].label}), steel `
    + `${el('steel-said').textContent}.`);
}

const loadRows = [];

function setUpLoads() {
  const body = table(el('loads'), 'Load of each seat and the share of each jack',
    ['Seat', 'Jack', 'As surveyed', 'Plan', 'Shown here', 'Least', 'Greatest', 'Jack: load, pressure, share of capacity']);
  facts.jacks.forEach((jack) => {
    const seat = facts.seats[jack.seat];
    const { line, cells } = row(body, seat.id, 7);
    say(cells[0], jack.id);
    say(cells[1], reactionText(facts.units.force, seat.reaction_before));
    say(cells[2], reactionText(facts.units.force, seat.reaction_plan));
    say(cells[4], seat.reaction_least === null ? '-' : reactionText(facts.units.force, seat.reaction_least));
    say(cells[5], seat.reaction_most === null ? '-' : fullText(facts.units.force, seat.reaction_most));
    loadRows.push({ line, cells });
  });
}

function showLoads() {
  facts.jacks.forEach((jack, j) => {
    const { line, cells } = loadRows[j];
    const seat = facts.seats[jack.seat];
    const reaction = results.reactions[jack.seat];
    const least = seat.reaction_least !== null && reaction < seat.reaction_least - 1;
    const most = seat.reaction_most !== null && reaction > seat.reaction_most + 1;
    line.classList.toggle('changed', results.changed[jack.seat]);
    say(cells[3], reactionText(facts.units.force, reaction), least || most);
    const load = Math.max(0, reaction) * jack.share;
    say(cells[6], `${fullText(facts.units.force, load)}, ${fullText(facts.units.pressure, load / jack.area)}, `
      + `${(100 * load / jack.capacity).toFixed(0)} %`);
  });
}

const limitRows = new Map(); // text -> numbers of its rows (either way of one limit), cells

function setUpLimits() {
  const body = table(el('limits'), 'Room to every limit that packs could reach', ['Limit', 'Plan', 'Shown here']);
  facts.limits.forEach((limit, i) => {
    if (!limitRows.has(limit.text)) limitRows.set(limit.text, { ways: [], ...row(body, limit.text, 2) });
    limitRows.get(limit.text).ways.push(i);
  });
  for (const { ways, cells } of limitRows.values()) {
    sayRoom(cells[0], ways, facts.limits.map((limit) => limit.over));
  }
  if (!facts.limits.length) say(row(body, 'none', 2).cells[0], '-');
}

/** Say the room of the way that has least of it. */
function sayRoom(cell, ways, over) {
  const worst = ways.reduce((a, b) => (over[b] > over[a] ? b : a));
  const limit = facts.limits[worst];
  const passed = over[worst] > limit.care;
  say(cell, `${passed ? 'PASSED by' : 'room'} ${amountText(facts.units[limit.unit], over[worst])}`, passed);
}

function showLimits() {
  for (const { ways, cells } of limitRows.values()) sayRoom(cells[1], ways, results.over);
}

const stockRows = [];

function setUpStock() {
  const body = table(el('stock'), 'Plates for all packs together',
    ['Mark', 'Measured', 'On hand', 'In the plan', 'Shown here', 'Left']);
  const inPlan = stockUsed(facts, planned);
  facts.plates.forEach((plate, mark) => {
    const { line, cells } = row(body, plate.mark, 5);
    say(cells[0], fullText(facts.units.plate, plate.measured));
    say(cells[1], String(plate.stock));
    say(cells[2], String(inPlan[mark]));
    stockRows.push({ line, cells });
  });
}

function showStock() {
  facts.plates.forEach((plate, mark) => {
    const left = plate.stock - results.used[mark];
    say(stockRows[mark].cells[3], String(results.used[mark]));
    say(stockRows[mark].cells[4], left < 0 ? `${-left} TOO FEW` : String(left), left < 0);
  });
}

function showAll() {
  results = resultsOf(facts, picks);
  showVerdict();
  showJoint();
  showPacks();
  showChecks();
  showLoads();
  showLimits();
  showStock();
}

say(el('job'), facts.job);
say(el('standing'), `Plan ${facts.check_code}, ${facts.status}.`
  + (facts.straight ? '' : ' Seats may lift off: figures of changed packs hold while the same seats carry.'));
say(el('survey'), facts.survey.join('. ') + '.');
say(el('caution'), facts.caution);
setUpPacks();
setUpChecks();
setUpLoads();
setUpLimits();
setUpStock();
setUpJoint();
openSeat();
showAll();
