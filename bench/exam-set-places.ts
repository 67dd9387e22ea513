/** The exam's four kinds of places: ground, back and what stands about, each drawn by a hand. */
import { mapTuple } from '../src/core/tuples.js';
import { n, type Vec3 } from '../demo/scenes/vector.js';
import { box, matt, rgb, rough, type SetHand } from './exam-set-hand.js';

export interface DrawnPlace {
  readonly text: string;
  readonly ground: Vec3;
  readonly lines: readonly (readonly [Vec3, Vec3])[] | null;
}

type Lines = readonly (readonly [Vec3, Vec3])[];

/** Strips laid along the lines of the ground. */
const strips = (lines: Lines, half: number, high: number, from: number, colour: Vec3): string =>
  lines.map(([a, b]) => box([a[0] - half, 0, a[2] - from], [a[0] + half, high, b[2] + 0.1], matt(colour))).join('');

export function roomPlace(hand: SetHand): DrawnPlace {
  const kind = hand.random.below(3);
  const board = hand.between(0.09, 0.16);
  const ground = floorColour(hand, kind);
  const lines = hand.lines(0.55 * hand.half(0), 0.55 * hand.half(0));
  const text =
    floor(kind, ground, board) +
    // Boards or tiles show lines; a carpet has a border to either side.
    strips(
      lines,
      0.006,
      0.0015,
      3,
      mapTuple(ground, (c) => 0.4 * c),
    ) +
    wall(hand);
  return { text, ground, lines };
}

/** Boards, tiles or a carpet. */
function floorColour(hand: SetHand, kind: number): Vec3 {
  if (kind === 0) return [hand.between(0.2, 0.45), hand.between(0.12, 0.27), hand.between(0.06, 0.15)];
  return kind === 1 ? hand.grey(0.25, 0.6) : hand.colour();
}

function floor(kind: number, ground: Vec3, board: number): string {
  if (kind === 2) return `plane{y,0 ${rough(ground, 0.12, 0.25, 0.4)}}\n`;
  const boards =
    `brick pigment{${rgb(ground, 0.45)}} pigment{bozo scale <0.02,1,0.5> ` +
    `color_map{[0 ${rgb(ground, 0.8)}][1 ${rgb(ground, 1.15)}]}} ` +
    `brick_size <${n(board)},3,1.7> mortar 0.004 rotate x*90`;
  const tiles = `checker ${rgb(ground)} ${rgb(ground, 0.7)} scale ${n(2.4 * board)}`;
  return `plane{y,0 texture{pigment{${kind === 0 ? boards : tiles}} finish{ambient 0 diffuse 0.9}}}\n`;
}

/** The back wall with its skirting, four pictures and three cupboards. */
function wall(hand: SetHand): string {
  const { back } = hand;
  let out =
    `plane{-z,${n(-back)} ${rough(hand.grey(0.3, 0.75, 0.2), 0.6, 0.06, 0.05)} no_shadow}\n` +
    box([-20, 0, back - 0.02], [20, 0.12, back + 1], matt(hand.grey(0.4, 0.8)));
  for (let k = 0; k < 4; k++) {
    const x = hand.between(-0.9, 0.9) * hand.half(back);
    const w = hand.between(0.12, 0.4);
    const y = hand.between(0.7, 1.6);
    const h = hand.between(0.15, 0.4);
    out += box([x - w - 0.03, y - 0.03, back - 0.03], [x + w + 0.03, y + h + 0.03, back], matt(hand.colour()));
    out += box([x - w, y, back - 0.04], [x + w, y + h, back], rough(hand.colour(), 0.2, 0.6));
  }
  for (let k = 0; k < 3; k++) {
    const x = hand.between(-1, 1) * hand.half(back);
    const w = hand.between(0.3, 0.8);
    const h = hand.between(0.35, 1.1);
    out += box([x - w, 0, back - hand.between(0.35, 0.6)], [x + w, h, back], rough(hand.colour(), 0.5, 0.25));
  }
  return out;
}

export function streetPlace(hand: SetHand): DrawnPlace {
  const ground = hand.grey(0.12, 0.42, 0.12);
  const slab = hand.between(0.3, 0.6);
  const lines = hand.lines(0.6 * hand.half(0), 0.7 * hand.half(0));
  const text =
    `plane{y,0 texture{pigment{brick pigment{${rgb(ground, 0.55)}} ` +
    `pigment{granite scale 0.5 color_map{[0.1 ${rgb(ground, 0.8)}][0.7 ${rgb(ground, 1.15)}]}} ` +
    `brick_size <${n(slab)},${n(slab)},${n(slab)}> mortar 0.012 rotate x*90} normal{bumps 0.2 scale 0.01} ` +
    'finish{ambient 0 diffuse 0.9}}}\n' +
    strips(
      lines,
      0.03,
      0.002,
      4,
      mapTuple(ground, (c) => 0.5 * c),
    ) +
    houses(hand);
  return { text, ground, lines };
}

/** A row of houses with three windows each. */
function houses(hand: SetHand): string {
  const { back } = hand;
  const wide = hand.between(2.5, 4);
  const tones: readonly Vec3[] = [hand.colour(), hand.grey(0.2, 0.6), [0.36, 0.16, 0.1]];
  let out = '';
  for (let k = -5; k <= 5; k++) {
    const x = k * wide;
    const plaster = rough(tones[hand.random.below(3)]!, 0.7, 0.2);
    out += box([x, 0, back], [x + wide - 0.04, hand.between(4, 7), back + 2], plaster);
    for (let j = 0; j < 3; j++) {
      const left = (j * (wide - 0.6)) / 3;
      const pane = matt(hand.grey(0.02, 0.2));
      const sill = matt(hand.grey(0.4, 0.7));
      out += box([x + 0.3 + left, 1.1, back - 0.03], [x + 0.3 + left + 0.55, 2.3, back + 0.1], pane);
      out += box([x + 0.25 + left, 1.03, back - 0.08], [x + 0.9 + left, 1.1, back], sill);
    }
  }
  return out;
}

export function gardenPlace(hand: SetHand): DrawnPlace {
  const { back } = hand;
  const lawn = grassOf(grassColour(hand));
  const wide = hand.between(0.5, 0.7) * hand.half(0);
  const ground = hand.grey(0.2, 0.5, 0.15);
  const lines = hand.lines(wide, wide);
  const path = box([lines[0]![0][0], -0.1, -20], [lines[1]![0][0], 0.004, back], rough(ground, 0.25, 0.3));
  const text = lawn + path + fence(hand) + shrubs(hand);
  return { text, ground, lines };
}

export function lawnPlace(hand: SetHand): DrawnPlace {
  const ground = grassColour(hand);
  return { text: grassOf(ground) + trees(hand) + shrubs(hand), ground, lines: null };
}

function grassColour(hand: SetHand): Vec3 {
  return [hand.between(0.07, 0.15), hand.between(0.12, 0.2), hand.between(0.025, 0.06)];
}

const grassOf = (colour: Vec3): string =>
  'plane{y,0 texture{pigment{granite scale <0.12,0.12,0.25> ' +
  `color_map{[0.1 ${rgb(colour, 0.5)}][0.45 ${rgb(colour)}][0.8 ${rgb(colour, 1.5)}]}} ` +
  'normal{bumps 0.7 scale 0.02} finish{ambient 0 diffuse 0.9}}}\n';

function fence(hand: SetHand): string {
  const { back } = hand;
  const colour: Vec3 = [hand.between(0.15, 0.5), hand.between(0.1, 0.35), hand.between(0.06, 0.25)];
  const end = hand.half(back) * 1.5;
  let out = '';
  for (let x = -Math.ceil(end); x < end; x += 0.16) {
    const top = 1.5 + hand.between(-0.03, 0.03);
    const board = mapTuple(colour, (c) => c * hand.between(0.85, 1.1));
    out += box([x, 0, back], [x + 0.145, top, back + 0.03], rough(board, 0.4, 0.25));
  }
  return out;
}

function trees(hand: SetHand): string {
  const { back } = hand;
  let out = '';
  for (let k = 0; k < 7; k++) {
    const x = hand.between(-1.3, 1.3) * hand.half(back + 3);
    const z = back + hand.between(1, 6);
    const h = hand.between(2, 4);
    const leaf: Vec3 = [hand.between(0.04, 0.1), hand.between(0.08, 0.16), 0.03];
    const trunk = rough([0.12, 0.09, 0.06], 0.2, 0.4);
    out += `cylinder{<${n(x)},0,${n(z)}>,<${n(x)},${n(h)},${n(z)}>,0.12 ${trunk}}\n`;
    for (let j = 0; j < 5; j++) {
      const at: Vec3 = [x + hand.between(-0.9, 0.9), h + hand.between(-0.4, 0.9), z + hand.between(-0.6, 0.6)];
      out += `sphere{<${n(at[0])},${n(at[1])},${n(at[2])}>,${n(hand.between(0.5, 1))} ${rough(leaf, 0.5, 0.7, 1)}}\n`;
    }
  }
  return out + box([-40, 0, back + 7], [40, 1.8, back + 8], rough([0.05, 0.1, 0.03], 0.6, 0.6, 1));
}

/** Shrubs to either side. */
function shrubs(hand: SetHand): string {
  let out = '';
  for (let k = 0; k < 9; k++) {
    const side = k % 2 === 0 ? -1 : 1;
    const z = hand.between(0.3, 0.95) * hand.back;
    const leaf: Vec3 = [hand.between(0.04, 0.12), hand.between(0.08, 0.19), hand.between(0.02, 0.05)];
    for (let j = 0; j < 4; j++) {
      const x = side * (hand.half(z) * hand.between(0.75, 1.1)) + hand.between(-0.2, 0.2);
      const y = hand.between(0.1, 0.35);
      const deep = z + hand.between(-0.2, 0.2);
      out += `sphere{<${n(x)},${n(y)},${n(deep)}>,${n(hand.between(0.15, 0.35))} ${rough(leaf, 0.12, 0.8, 1)}}\n`;
    }
  }
  return out;
}
