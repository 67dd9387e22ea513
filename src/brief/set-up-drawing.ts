/**
 * The set-up drawn to scale, from above and from the side: screen, performer, camera and lamp with their names and
 * lengths. One drawing in metres for the workbench's page and for the printed call sheet.
 */
import type { LampPlan, ScreenNeed, SetUp } from './types.js';

type At = readonly [number, number];

/** One shape of the drawing, in metres as `Drawing` has them. */
export type DrawnShape =
  | {
      readonly kind: 'line';
      readonly role: 'sight' | 'ray' | 'floor' | 'stand' | 'screen';
      readonly ends: readonly At[];
    }
  | { readonly kind: 'disc'; readonly role: 'performer' | 'lamp'; readonly at: At; readonly radii: At }
  | { readonly kind: 'camera'; readonly corners: readonly At[] }
  | { readonly kind: 'words'; readonly at: At; readonly align: 'start' | 'middle' | 'end'; readonly text: string };

/** A drawing in metres: x to the right, y downwards, from its top left corner. */
export interface Drawing {
  readonly title: string;
  readonly widthM: number;
  readonly heightM: number;
  /** Height of letters, metres. */
  readonly lettersM: number;
  readonly shapes: readonly DrawnShape[];
}

/** A set-up as it is drawn. */
export interface DrawnSetUp {
  readonly setUp: SetUp;
  readonly lamp: LampPlan | null;
  readonly screen: ScreenNeed | null;
  /** Height of the performer, metres. */
  readonly performerM: number;
}

/** What a drawing is to fit, and how high its letters are to be there: pixels or points. */
export interface DrawnSize {
  readonly width: number;
  readonly height: number;
  readonly letters: number;
}

/** Free margin about what is drawn, in heights of letters. */
const MARGIN = 2.2;
/** Width of a letter over its height, in the middle of a text face. */
const LETTER_WIDTH = 0.5;

const metres = (v: number): string => `${v.toFixed(2)}\u00a0m`;
const tenths = (v: number): string => `${v.toFixed(1)}\u00a0m`;

/** Words about a middle, kept within the drawing's width. */
function words(text: string, at: At, widthM: number, lettersM: number): DrawnShape {
  const half = (text.length * LETTER_WIDTH * lettersM) / 2 + 0.3 * lettersM;
  const x = 2 * half >= widthM ? widthM / 2 : Math.min(Math.max(at[0], half), widthM - half);
  return { kind: 'words', at: [x, at[1]], align: 'middle', text };
}

/**
 * A drawing whose letters have the wanted height where it fits its place: the more room they take in metres, the larger
 * the drawing is, and the smaller its scale. Found by going on from the last guess, to a thousandth or 60 times.
 * @returns the drawing, and its scale: pixels or points a metre
 */
function fitted(
  draw: (d: DrawnSetUp, lettersM: number) => Drawing,
  d: DrawnSetUp,
  size: DrawnSize,
): Drawing & { readonly scale: number } {
  let lettersM = 0.05;
  for (let k = 0; ; k++) {
    const drawing = draw(d, lettersM);
    const scale = Math.min(size.width / drawing.widthM, size.height / drawing.heightM);
    const next = size.letters / scale;
    if (k === 60 || Math.abs(next - lettersM) < 0.001 * lettersM) return { ...drawing, scale };
    lettersM = next;
  }
}

/** Seen from above. */
export const fromAbove = (d: DrawnSetUp, size: DrawnSize): ReturnType<typeof fitted> => fitted(drawAbove, d, size);

/** Seen from the side. */
export const fromTheSide = (d: DrawnSetUp, size: DrawnSize): ReturnType<typeof fitted> => fitted(drawSide, d, size);

/** Camera right is right, the camera stands at the foot. */
function drawAbove(d: DrawnSetUp, lettersM: number): Drawing {
  const lampAt = lampOf(d.lamp);
  const behind = d.screen?.behindM ?? 1;
  // A lamp against the camera may stand behind the screen.
  const far = Math.max(behind, -(lampAt?.[1] ?? 0));
  const widest = Math.max(d.screen?.widthM ?? 2, 2 * Math.abs(lampAt?.[0] ?? 0) + 0.8, 2.4);
  const nearest = Math.max(d.setUp.distanceM, lampAt?.[1] ?? 0);
  const heightM = far + nearest + 2 * MARGIN * lettersM;
  const widthM = Math.max(widest, 18.5 * lettersM);
  const at = (x: number, z: number): At => [widthM / 2 + x, MARGIN * lettersM + far + z];
  const shapes: DrawnShape[] = [];
  if (d.screen !== null) {
    const half = d.screen.widthM / 2;
    shapes.push({ kind: 'line', role: 'screen', ends: [at(-half, -behind), at(half, -behind)] });
    shapes.push(words(`screen, ${tenths(d.screen.widthM)} wide`, at(0, -behind - 0.9 * lettersM), widthM, lettersM));
  }
  shapes.push({ kind: 'line', role: 'sight', ends: [at(0, 0), at(0, d.setUp.distanceM)] });
  if (lampAt !== null) {
    const lamp = at(...lampAt);
    shapes.push({ kind: 'line', role: 'ray', ends: [lamp, at(0, 0)] });
    shapes.push({ kind: 'disc', role: 'lamp', at: lamp, radii: [0.45 * lettersM, 0.45 * lettersM] });
    shapes.push(lampWords(`lamp, ${tenths(d.lamp!.heightM)} high`, lamp, widthM, lettersM));
  }
  const r = Math.max(0.3 * lettersM, 0.3 * d.performerM);
  shapes.push({ kind: 'disc', role: 'performer', at: at(0, 0), radii: [r, r] });
  // What is said of the sight line stands on the side where no lamp is.
  const side = (lampAt?.[0] ?? 0) > 0 ? -1 : 1;
  const beside = (z: number, text: string): DrawnShape => ({
    kind: 'words',
    at: [widthM / 2 + side * 0.6 * lettersM, at(0, z)[1]],
    align: side > 0 ? 'start' : 'end',
    text,
  });
  shapes.push(beside(0.45 * d.setUp.distanceM, metres(d.setUp.distanceM)));
  shapes.push({
    kind: 'words',
    at: [widthM / 2 + side * (r + 0.5 * lettersM), at(0, 0)[1] + 0.35 * lettersM],
    align: side > 0 ? 'start' : 'end',
    text: 'performer',
  });
  shapes.push({ kind: 'camera', corners: cameraFromAbove(at(0, d.setUp.distanceM), lettersM) });
  shapes.push({
    kind: 'words',
    at: [widthM / 2 + side * lettersM, at(0, d.setUp.distanceM)[1] + 1.2 * lettersM],
    align: side > 0 ? 'start' : 'end',
    text: 'camera',
  });
  return { title: 'from above', widthM, heightM, lettersM, shapes };
}

/** The camera stands at the right and looks to the left. */
function drawSide(d: DrawnSetUp, lettersM: number): Drawing {
  const s = d.setUp;
  const behind = d.screen?.behindM ?? 0;
  const highest = Math.max(s.cameraHeightM, d.screen?.heightM ?? 0, s.raiseM + d.performerM, 1);
  const heightM = highest + 2 * MARGIN * lettersM;
  const edge = Math.max(0.35, 1.5 * lettersM);
  const widthM = behind + s.distanceM + 2 * edge;
  const floor = MARGIN * lettersM + highest;
  const at = (x: number, y: number): At => [edge + behind + x, floor - y];
  const lens = at(s.distanceM, s.cameraHeightM);
  const middle = at(0, s.raiseM + d.performerM / 2);
  const shapes: DrawnShape[] = [
    {
      kind: 'line',
      role: 'floor',
      ends: [
        [0, floor],
        [widthM, floor],
      ],
    },
  ];
  if (d.screen !== null) {
    shapes.push({ kind: 'line', role: 'screen', ends: [at(-behind, 0), at(-behind, d.screen.heightM)] });
    shapes.push(
      words(
        `screen, ${tenths(d.screen.heightM)} high`,
        at(-behind, d.screen.heightM + 0.6 * lettersM),
        widthM,
        lettersM,
      ),
    );
  }
  if (s.raiseM > 0.005) {
    const half = Math.max(0.2, 0.5 * d.performerM);
    shapes.push({ kind: 'line', role: 'stand', ends: [at(-half, s.raiseM), at(half, s.raiseM)] });
    shapes.push(words(`raised ${Math.round(100 * s.raiseM)}\u00a0cm`, [middle[0], floor + lettersM], widthM, lettersM));
  }
  shapes.push({ kind: 'line', role: 'sight', ends: [lens, middle] });
  shapes.push({ kind: 'disc', role: 'performer', at: middle, radii: [0.25 * d.performerM, 0.5 * d.performerM] });
  shapes.push({ kind: 'line', role: 'stand', ends: [lens, at(s.distanceM, 0)] });
  const [w, h] = [0.7 * lettersM, 0.5 * lettersM];
  shapes.push({
    kind: 'camera',
    corners: [
      [lens[0] - w, lens[1] - h],
      [lens[0] + w, lens[1] - h],
      [lens[0] + w, lens[1] + h],
      [lens[0] - w, lens[1] + h],
    ],
  });
  shapes.push({
    kind: 'words',
    at: [widthM - 0.4 * lettersM, floor + 1.4 * lettersM],
    align: 'end',
    text:
      `lens ${(100 * s.cameraHeightM).toFixed(0)}\u00a0cm high, ${Math.abs(s.tiltDeg).toFixed(1)}° ` +
      (s.tiltDeg < 0 ? 'down' : 'up'),
  });
  return { title: 'from the side', widthM, heightM, lettersM, shapes };
}

/** Under the lamp, clear of the line from camera to performer. */
function lampWords(text: string, lamp: At, widthM: number, lettersM: number): DrawnShape {
  const half = (text.length * LETTER_WIDTH * lettersM) / 2 + 0.6 * lettersM;
  const right = lamp[0] >= widthM / 2;
  const x = right ? Math.max(lamp[0], widthM / 2 + half) : Math.min(lamp[0], widthM / 2 - half);
  return words(text, [x, lamp[1] + 1.6 * lettersM], widthM, lettersM);
}

/** Where the lamp stands: right of the line from performer to camera, and along it towards the camera, metres. */
function lampOf(lamp: LampPlan | null): At | null {
  if (lamp === null) return null;
  const a = (lamp.bearingDeg * Math.PI) / 180;
  return [lamp.distanceM * Math.sin(a), lamp.distanceM * Math.cos(a)];
}

/** A house with its gable towards the performer. */
function cameraFromAbove([x, y]: At, u: number): readonly At[] {
  return [
    [x - 0.55 * u, y + 1.3 * u],
    [x + 0.55 * u, y + 1.3 * u],
    [x + 0.55 * u, y + 0.5 * u],
    [x + 0.25 * u, y],
    [x - 0.25 * u, y],
    [x - 0.55 * u, y + 0.5 * u],
  ];
}
