'use strict';
// What changed packs do: y = y(plan) + A (x - x(plan)), the same for reactions and limits.

/** Sum of row times moves. */
function along(row, moves) {
  let sum = 0;
  for (let i = 0; i < moves.length; i += 1) if (moves[i] !== 0) sum += row[i] * moves[i];
  return sum;
}

/** How far each seat is from where the plan puts it [m]; packs by their number, seat by seat. */
function movesFrom(facts, picks) {
  return facts.seats.map((seat, i) =>
    picks[i] === seat.chosen ? 0 : seat.packs[picks[i]].setting - facts.settings[i]);
}

/** How many of each plate a list of plates holds. */
function countsOf(facts, plates) {
  const counts = facts.plates.map(() => 0);
  for (const plate of plates) counts[plate] += 1;
  return counts;
}

/** Plates that all packs together take from the stock, mark by mark. */
function stockUsed(facts, picks) {
  const used = facts.plates.map(() => 0);
  facts.seats.forEach((seat, i) => {
    if (seat.held) return;
    const own = countsOf(facts, seat.present);
    countsOf(facts, seat.packs[picks[i]].plates).forEach((count, mark) => {
      used[mark] += facts.reuse ? count : Math.max(count - own[mark], 0);
    });
  });
  return used;
}

/** Everything that comes of a pick of packs. */
function resultsOf(facts, picks) {
  const moves = movesFrom(facts, picks);
  return {
    picks,
    moves,
    changed: facts.seats.map((seat, i) => picks[i] !== seat.chosen),
    checks: facts.checks.map((check, k) => check.plan + along(facts.A[k], moves)),
    reads: facts.checks.map((check, k) => check.reads + along(facts.A[k], moves)),
    reactions: facts.seats.map((seat, i) => seat.reaction_plan + along(facts.R[i], moves)),
    over: facts.limits.map((limit) => limit.over + along(limit.row, moves)),
    used: stockUsed(facts, picks),
  };
}

/** How far a check is over what is allowed; null where nothing is. Below zero: room. */
function checkOver(check, value) {
  const allowed = check.leave_within === null ? check.tolerance : check.leave_within;
  return allowed === null ? null : Math.abs(value - check.target) - allowed;
}

/** Whether a check is inside, rounding aside as in the certificate; null where nothing is asked. */
function checkInside(check, value) {
  if (check.leave_within !== null) return Math.abs(value - check.target) <= check.leave_within;
  if (check.tolerance === null) return null;
  return Math.abs(value - check.target) <= check.tolerance * (1 + 1e-6);
}

/** Every limit that is broken, in words, with by how much. */
function brokenBy(facts, results) {
  const lines = [];
  facts.checks.forEach((check, k) => {
    const value = results.checks[k];
    if (checkInside(check, value) !== false) return;
    const unit = facts.units[check.unit];
    lines.push(`${check.heading}, ${check.place}, ${check.what}: `
      + `outside by ${amountText(unit, checkOver(check, value))}`);
  });
  facts.limits.forEach((limit, i) => {
    if (results.over[i] <= limit.care) return;
    lines.push(`${limit.text}: passed by ${amountText(facts.units[limit.unit], results.over[i])}`);
  });
  facts.plates.forEach((plate, mark) => {
    const missing = results.used[mark] - plate.stock;
    if (missing > 0) lines.push(`plates ${plate.mark}: ${missing} more than there are`);
  });
  return lines;
}

/** The greatest share of its tolerance that any check takes. */
function worstShare(facts, results) {
  let worst = 0;
  facts.checks.forEach((check, k) => {
    if (check.tolerance === null || check.leave_within !== null) return;
    worst = Math.max(worst, Math.abs(results.checks[k] - check.target) / check.tolerance);
  });
  return worst;
}

/** A pack in words, bottom to top. */
function packText(facts, seat, pack) {
  if (seat.nut) return 'nut';
  return pack.plates.map((plate) => facts.plates[plate].mark).join('+') || 'no plates';
}

/** Height of a pack [m], summed as the program sums it. */
function packHeight(facts, pack) {
  return pack.plates.reduce((sum, plate) => sum + facts.plates[plate].measured, 0);
}

/** One word for a shell, quoted where it has to be. */
function shellWord(text) {
  return /^[\w@%+=:,./-]+$/.test(text) ? text : `'${text.replaceAll("'", "'\\''")}'`;
}

/** The line that has fitup plan and certify exactly these packs. */
function planCommand(facts, picks) {
  const given = facts.seats.map((seat, i) => {
    const pack = seat.packs[picks[i]];
    const what = seat.nut
      ? moveText(seat, facts.units.move, pack.setting) : packText(facts, seat, pack);
    return `--give ${shellWord(`${seat.id}=${what}`)}`;
  });
  return ['fitup plan', shellWord(facts.folder), ...given].join(' ');
}
