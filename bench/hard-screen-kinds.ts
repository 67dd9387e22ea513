/** The screens that are hard to peel, one row each: cloth, light, camera and performer of each. */

export interface HardScreen {
  readonly name: string;
  /** Scene-linear colour of the lit cloth. */
  readonly screen: readonly [number, number, number];
  readonly fallOff?: number;
  /** Depth of broad folds and of sharp creases, share of the light. */
  readonly folds?: number;
  readonly creases?: number;
  /** Light left in the half that lies in shadow; 1 none. */
  readonly half?: number;
  /** Light left in the performer's own shadow, and its edge in px. */
  readonly cast?: number;
  readonly castEdge?: number;
  /** Marks taped onto the cloth: crosses of another green, or white ones. */
  readonly markers?: 'green' | 'white';
  /** Share of the picture's width and height beyond which the cloth ends: room shows there. */
  readonly ends?: number;
  /** A peg (a thin grey rod with its shadow) that stands apart from the performer. */
  readonly peg?: boolean;
  readonly spill: number;
  readonly noise: number;
  readonly crf: number;
  /** In-camera sharpening. */
  readonly sharp?: number;
  /** Way a frame, px, and share of it that is smeared. */
  readonly speed?: number;
  readonly smear?: number;
  /**
   * Way of the exposure, stops up and down over the take; share by which red over blue drifts; widest defocus,
   * px (sd), with which the picture grows a little.
   */
  readonly pump?: number;
  readonly drift?: number;
  readonly breathe?: number;
  /** The holder's arm and a leash. */
  readonly holder?: boolean;
  readonly coat?: readonly [number, number, number];
  /** A patch on the body as green as the cloth. */
  readonly toy?: boolean;
}

const GREEN = [0.03, 0.33, 0.07] as const;
const BLUE = [0.03, 0.09, 0.42] as const;
const FADED = [0.24, 0.38, 0.13] as const;
export const HARD: readonly HardScreen[] = [
  {
    name: 'faded yellow-green, folds',
    screen: FADED,
    fallOff: 0.3,
    folds: 0.15,
    creases: 0.15,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'blue, crumpled',
    screen: BLUE,
    fallOff: 0.3,
    folds: 0.2,
    creases: 0.4,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, crumpled',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.25,
    creases: 0.5,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, half in shadow',
    screen: GREEN,
    fallOff: 0.2,
    folds: 0.08,
    half: 0.3,
    cast: 0.5,
    castEdge: 3,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, markers',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    creases: 0.1,
    cast: 0.6,
    castEdge: 12,
    markers: 'green',
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, white markers',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    creases: 0.1,
    cast: 0.6,
    castEdge: 12,
    markers: 'white',
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, ends in the picture',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    cast: 0.5,
    castEdge: 8,
    ends: 0.13,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, fast',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 24,
    smear: 0.5,
  },
  {
    name: 'green, sun: hard dark shadow, peg',
    screen: GREEN,
    fallOff: 0.1,
    folds: 0.08,
    cast: 0.2,
    castEdge: 2,
    peg: true,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'blue, sun: hard dark shadow, peg',
    screen: BLUE,
    fallOff: 0.1,
    folds: 0.08,
    cast: 0.2,
    castEdge: 2,
    peg: true,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, one lamp: shadow of a tenth',
    screen: GREEN,
    fallOff: 0.1,
    folds: 0.08,
    cast: 0.1,
    castEdge: 2,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'blue, one lamp: shadow of a sixteenth',
    screen: BLUE,
    fallOff: 0.1,
    folds: 0.08,
    cast: 0.06,
    castEdge: 6,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
  },
  {
    name: 'green, one lamp: black coat',
    screen: GREEN,
    fallOff: 0.2,
    folds: 0.08,
    cast: 0.12,
    castEdge: 4,
    coat: [0.015, 0.014, 0.013],
    spill: 0.03,
    noise: 0.008,
    crf: 24,
    speed: 3,
  },
  {
    name: 'green, a green toy marked',
    screen: GREEN,
    fallOff: 0.3,
    folds: 0.1,
    cast: 0.6,
    castEdge: 12,
    spill: 0.1,
    noise: 0.006,
    crf: 22,
    speed: 3,
    toy: true,
  },
  {
    name: 'green, dim phone',
    screen: [0.02, 0.12, 0.03],
    fallOff: 0.5,
    folds: 0.15,
    cast: 0.5,
    castEdge: 10,
    spill: 0.2,
    noise: 0.016,
    crf: 28,
    sharp: 0.8,
    speed: 5,
  },
];
