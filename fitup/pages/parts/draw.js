'use strict';
// Joints drawn to scale: section looking ahead, plan from above, elevation looking left.
// Deviations are drawn larger by a factor; shapes and dashes tell the sides apart, not colour.

const SVG = 'http://www.w3.org/2000/svg';
const PANEL = 340; // width of a panel, in its own units
const EDGE = 34; // room for names round a drawing
const JOINT_SPACE = 14; // drawn between the back face and where the ahead face belongs
const STUB = 46; // length of deck drawn on either side
const FACTORS = [1, 2, 5, 10, 20, 50, 100, 200, 500, 1000, 2000, 5000];

function drawn(name, attributes, text) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  if (text !== undefined) made.textContent = text;
  return made;
}

const px = (v) => Math.round(v * 100) / 100;
const pointsText = (points) => points.map(([x, y]) => `${px(x)},${px(y)}`).join(' ');

/** Half the width of a joint [m], never nought. */
function halfWidth(joint) {
  return Math.max(...joint.pairs.map((pair) => Math.abs(pair.left))) || 1;
}

/** The whole factor at which the largest deviation, as surveyed or planned, is well seen. */
function fittingFactor(facts, joint) {
  const all = joint.pairs.flatMap((pair) => [pair.step, pair.offset, pair.gap])
    .flatMap((k) => [facts.checks[k].before, facts.checks[k].plan]);
  const largest = Math.max(...all.map(Math.abs));
  const wanted = 0.26 * halfWidth(joint) / largest;
  return FACTORS.filter((factor) => factor <= wanted).pop() || 1;
}

/** Pairs in lines of about one height, from the top down, each from LEFT to RIGHT. */
function levelsOf(joint) {
  const lines = [];
  for (const pair of [...joint.pairs].sort((a, b) => b.up - a.up)) {
    const last = lines.at(-1);
    if (last && last.at(-1).up - pair.up <= 0.5) last.push(pair);
    else lines.push([pair]);
  }
  return lines.map((line) => line.sort((a, b) => b.left - a.left));
}

/** A marker that tells the face and level by its shape. */
function marker(svg, [x, y], shape) {
  if (shape === 'square') {
    svg.append(drawn('rect', { x: px(x - 3), y: px(y - 3), width: 6, height: 6, class: 'back-dot' }));
  } else if (shape === 'circle') {
    svg.append(drawn('circle', { cx: px(x), cy: px(y), r: 3.6, class: 'ahead-dot' }));
  } else {
    const diamond = [[x, y - 4.4], [x + 4.4, y], [x, y + 4.4], [x - 4.4, y]];
    svg.append(drawn('polygon', { points: pointsText(diamond), class: 'ahead-dot' }));
  }
}

/** Names in one row, moved apart, each with a thin line to its point. */
function names(svg, pairs, spots, y) {
  const order = pairs.map((pair, i) => ({ pair, spot: spots[i] })).sort((a, b) => a.spot[0] - b.spot[0]);
  const pitch = 12 + 7 * Math.max(...pairs.map((pair) => pair.id.length));
  const places = order.map((one) => one.spot[0]);
  for (let i = 1; i < places.length; i += 1) places[i] = Math.max(places[i], places[i - 1] + pitch);
  let limit = PANEL - 16;
  for (let i = places.length - 1; i >= 0; i -= 1) {
    places[i] = Math.min(places[i], limit);
    limit = places[i] - pitch;
  }
  order.forEach(({ pair, spot }, i) => {
    const foot = y < spot[1] ? y + 4 : y - 11;
    svg.append(drawn('line', { x1: px(spot[0]), y1: px(spot[1]), x2: px(places[i]), y2: px(foot), class: 'lead' }));
    svg.append(drawn('text', { x: px(places[i]), y: px(y), class: 'name' }, pair.id));
  });
}

/** An empty drawing that says what it shows. */
function sheet(top, bottom, title) {
  const svg = drawn('svg', { viewBox: `0 ${px(top)} ${PANEL} ${px(bottom - top)}`, role: 'img', 'aria-label': title });
  svg.append(drawn('title', {}, title));
  return svg;
}

/** Where the back points are and where the ahead points went, looking ahead. */
function sectionView(joint, values, factor, title) {
  const scale = (PANEL - 2 * EDGE) / (2 * halfWidth(joint));
  const x = (left) => PANEL / 2 - scale * left;
  const moved = (pair) => [x(pair.left + factor * values[pair.offset]), -scale * (pair.up + factor * values[pair.step])];
  const still = (pair) => [x(pair.left), -scale * pair.up];
  const lines = levelsOf(joint);
  const ring = [...lines[0], ...lines.slice(1).flatMap((line) => [...line].reverse())];
  const tall = joint.pairs.flatMap((pair) => [moved(pair)[1], still(pair)[1]]);
  const [top, bottom] = [Math.min(...tall) - EDGE, Math.max(...tall) + EDGE];
  const svg = sheet(top, bottom, title);
  const shape = lines.length > 1 ? 'polygon' : 'polyline';
  svg.append(drawn(shape, { points: pointsText(ring.map(still)), class: 'back-face' }));
  svg.append(drawn(shape, { points: pointsText(ring.map(moved)), class: 'ahead-face' }));
  for (const pair of joint.pairs) marker(svg, still(pair), 'square');
  lines.forEach((line, level) => {
    for (const pair of line) marker(svg, moved(pair), level === 0 ? 'circle' : 'diamond');
    names(svg, line, line.map(moved), level === 0 ? top + 12 : bottom - 4);
  });
  return svg;
}

/** The faces from above, ahead at the top, LEFT on the left. */
function planView(joint, values, factor, title) {
  const scale = (PANEL - 2 * EDGE) / (2 * halfWidth(joint));
  const x = (left) => PANEL / 2 - scale * left;
  const moved = (pair) => [x(pair.left + factor * values[pair.offset]), -scale * factor * values[pair.gap]];
  const lines = levelsOf(joint);
  const ends = joint.pairs.map((pair) => moved(pair)[1]);
  const top = Math.min(0, ...ends) - STUB - 18;
  const bottom = Math.max(JOINT_SPACE, ...ends) + STUB + 6;
  const svg = sheet(top, bottom, title);
  const wide = [x(halfWidth(joint)), x(-halfWidth(joint))];
  const back = [[wide[0], JOINT_SPACE], [wide[1], JOINT_SPACE], [wide[1], bottom - 4], [wide[0], bottom - 4]];
  svg.append(drawn('polygon', { points: pointsText(back), class: 'back-face' }));
  svg.append(drawn('line', { x1: px(wide[0]), y1: 0, x2: px(wide[1]), y2: 0, class: 'nominal' }));
  const face = lines[0].map(moved);
  const deck = [[face[0][0], top + 18], ...face, [face.at(-1)[0], top + 18]];
  svg.append(drawn('polyline', { points: pointsText(deck), class: 'ahead-face' }));
  for (const line of lines.slice(1)) {
    svg.append(drawn('polyline', { points: pointsText(line.map(moved)), class: 'ahead-face low' }));
  }
  lines.forEach((line, level) => {
    for (const pair of line) marker(svg, moved(pair), level === 0 ? 'circle' : 'diamond');
    names(svg, line, line.map(moved), level === 0 ? top + 12 : bottom - 8);
  });
  return svg;
}

/** The joint from its side, looking left, ahead on the right. */
function elevationView(joint, values, factor, title) {
  const scale = (PANEL - 2 * EDGE) / (2 * halfWidth(joint));
  const middle = PANEL / 2;
  const moved = (pair) => [middle + scale * factor * values[pair.gap], -scale * (pair.up + factor * values[pair.step])];
  const ups = joint.pairs.map((pair) => -scale * pair.up);
  const all = [...ups, ...joint.pairs.map((pair) => moved(pair)[1])];
  const [top, bottom] = [Math.min(...all) - EDGE, Math.max(...all) + EDGE];
  const svg = sheet(top, bottom, title);
  const [high, low] = [Math.min(...ups), Math.max(...ups, Math.min(...ups) + 4)];
  const face = middle - JOINT_SPACE;
  const back = [[16, high], [face, high], [face, low], [16, low]];
  svg.append(drawn('polygon', { points: pointsText(back), class: 'back-face' }));
  svg.append(drawn('line', { x1: middle, y1: px(high - 10), x2: middle, y2: px(low + 10), class: 'nominal' }));
  const lines = levelsOf(joint);
  const side = (pair) => Math.sign(Math.round(5 * pair.left / halfWidth(joint)));
  for (const sign of [1, 0, -1]) {
    const own = lines.flatMap((line) => line.filter((pair) => side(pair) === sign).slice(0, 1));
    const spots = own.map(moved);
    if (!spots.length) continue;
    const deck = [[PANEL - 16, spots[0][1]], ...spots];
    if (spots.length > 1) deck.push([PANEL - 16, spots.at(-1)[1]]);
    svg.append(drawn('polyline', { points: pointsText(deck), class: sign > 0 ? 'ahead-face' : 'ahead-face low' }));
  }
  lines.forEach((line, level) => {
    for (const pair of line) marker(svg, moved(pair), level === 0 ? 'circle' : 'diamond');
    names(svg, line, line.map(moved), level === 0 ? top + 12 : bottom - 4);
  });
  return svg;
}

const VIEWS = [
  ['Section, looking ahead', sectionView],
  ['Plan, ahead at the top', planView],
  ['Elevation, looking left', elevationView],
];
