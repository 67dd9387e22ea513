/** The tools by which a person draws marks: on which pictures, how many points a mark takes, and what it becomes. */
import type { Mark } from '../../../src/plate/marks/marks.js';
import type { P } from './mark-shapes.js';

/**
 * In the order in which a shot is usually marked: first where the performer goes, then
 * what tells camera and light, then the rest.
 */
export const TOOL_GROUPS = [
  'the performer',
  'the screen',
  'how the camera looks',
  'where the light is',
  'what turns or stirs',
  'what goes or changes',
  'what is before it',
  'what takes its shadow',
  'what mirrors it',
] as const;
/** The questions by which tools stand together. */
export type ToolGroup = (typeof TOOL_GROUPS)[number];

/** A tool: so many points are put, and `make` gives the mark (px of the picture). */
export interface MarkTool {
  readonly kind: Mark['kind'];
  readonly label: string;
  /** What question the mark answers: tools stand together by it. */
  readonly about: ToolGroup;
  /** Fixed number of points, or null for a closed outline of three or more. */
  readonly points: number | null;
  readonly hint: string;
  readonly asks?: 'height' | 'yaw' | 'later';
  /** On a plate, on a take, or (absent) on both. */
  readonly on?: 'plate' | 'take';
  make(points: readonly P[], frame: number, number: number | undefined): Mark;
}

/** All tools, in the order in which they are shown. */
export const TOOLS: readonly MarkTool[] = [
  {
    kind: 'upright',
    label: 'upright',
    about: 'how the camera looks',
    points: 2,
    hint: 'foot, then top, of something upright',
    asks: 'height',
    make: (p, frame, height) => ({ kind: 'upright', frame, foot: p[0]!, top: p[1]!, ...(height ? { height } : {}) }),
  },
  {
    kind: 'groundLines',
    label: 'ground lines',
    about: 'how the camera looks',
    points: 4,
    hint: 'two lines on the ground that are parallel in the scene: two points each',
    make: (p, frame) => ({
      kind: 'groundLines',
      frame,
      lines: [
        [p[0]!, p[1]!],
        [p[2]!, p[3]!],
      ],
    }),
  },
  {
    kind: 'horizon',
    label: 'horizon',
    about: 'how the camera looks',
    points: 2,
    hint: 'two points of the horizon',
    make: (p, frame) => ({ kind: 'horizon', frame, line: [p[0]!, p[1]!] }),
  },
  {
    kind: 'rectangle',
    label: 'rectangle',
    about: 'how the camera looks',
    points: 4,
    hint: 'a rectangle lying on the ground or standing on a wall: its four corners in turn',
    make: (p, frame) => ({ kind: 'rectangle', frame, corners: [p[0]!, p[1]!, p[2]!, p[3]!] }),
  },
  {
    kind: 'shadow',
    label: 'shadow',
    about: 'where the light is',
    points: 2,
    hint: 'foot of what casts it, then the shadow’s tip',
    asks: 'height',
    make: (p, frame, height) => ({ kind: 'shadow', frame, foot: p[0]!, tip: p[1]!, ...(height ? { height } : {}) }),
  },
  {
    kind: 'head',
    label: 'head',
    about: 'where the light is',
    points: 2,
    hint: 'middle of the head, then its edge to the side',
    make: (p, frame) => {
      const r = Math.hypot(p[1]![0] - p[0]![0], p[1]![1] - p[0]![1]);
      return { kind: 'head', frame, ellipse: [p[0]![0], p[0]![1], r, r * 1.25, 0] };
    },
  },
  {
    kind: 'face',
    label: 'face',
    about: 'what turns or stirs',
    points: 3,
    hint:
      'a face that turns: the eye on the left of the picture, the eye on its right, the tip of the nose; ' +
      'one frame that shows all three is enough, more are better',
    make: (p, frame) => ({ kind: 'face', frame, leftEye: p[0]!, rightEye: p[1]!, nose: p[2]! }),
  },
  {
    kind: 'stand',
    label: 'stands here',
    about: 'the performer',
    on: 'plate',
    points: 2,
    hint: 'where the performer’s feet are, then where its top is (where it rides on something: on the frame outlined)',
    asks: 'height',
    make: (p, frame, height) => ({ kind: 'stand', frame, ground: p[0]!, top: p[1]!, ...(height ? { height } : {}) }),
  },
  {
    kind: 'carry',
    label: 'rides on',
    about: 'the performer',
    on: 'plate',
    points: null,
    hint: 'outline of what the performer rides on; then “stands here” on this frame says where on it, and how large',
    make: (p, frame) => ({ kind: 'carry', frame, region: [...p] }),
  },
  {
    kind: 'performer',
    label: 'performer',
    about: 'the performer',
    on: 'take',
    points: 2,
    hint: 'the performer’s feet, then its top',
    asks: 'height',
    make: (p, frame, height) => ({
      kind: 'performer',
      frame,
      ground: p[0]!,
      top: p[1]!,
      ...(height ? { height } : {}),
    }),
  },
  {
    kind: 'erase',
    label: 'erase',
    about: 'what goes or changes',
    on: 'plate',
    points: null,
    hint: 'outline of what goes',
    make: (p, frame) => ({ kind: 'erase', frame, polygon: [...p] }),
  },
  {
    kind: 'erase',
    label: 'its shadow',
    about: 'what goes or changes',
    on: 'plate',
    points: null,
    hint: 'outline of a shadow of what goes, a little wider than it; where no frame shows the ground lit it is relit',
    make: (p, frame) => ({ kind: 'erase', frame, polygon: [...p], shadow: true }),
  },
  {
    kind: 'widen',
    label: 'widen',
    about: 'what goes or changes',
    on: 'plate',
    points: 0,
    hint: 'the picture is made larger at its sides: say by how much below',
    make: (_p, frame) => ({ kind: 'widen', frame, left: 0, right: 0, top: 0, bottom: 0 }),
  },
  {
    kind: 'patch',
    label: 'patch',
    about: 'what goes or changes',
    on: 'plate',
    points: null,
    hint:
      'outline of the part that is taken from so many frames later (or, negative, earlier) of the same shot; without a ' +
      'number, of the part that a take gets by “with a part of: the plate”',
    asks: 'later',
    make: (p, frame, later) => ({
      kind: 'patch',
      frame,
      polygon: [...p],
      ...(later ? { offsetFrames: Math.round(later) } : {}),
    }),
  },
  {
    kind: 'patch',
    label: 'patch',
    about: 'what goes or changes',
    on: 'take',
    points: null,
    hint:
      'outline of the part that another picture’s replaces, or that replaces another take’s: mark it in both, then ' +
      'choose “with a part of” beside the take',
    make: (p, frame) => ({ kind: 'patch', frame, polygon: [...p] }),
  },
  {
    kind: 'front',
    label: 'in front',
    about: 'what is before it',
    on: 'plate',
    points: null,
    hint:
      'outline of what passes before the performer; where it or the camera moves, on a few frames, ' +
      'with as many points each',
    make: (p, frame) => ({ kind: 'front', frame, polygon: [...p] }),
  },
  {
    kind: 'receiver',
    label: 'wall',
    about: 'what takes its shadow',
    on: 'plate',
    points: null,
    hint:
      'a wall that the performer’s shadow falls on: the two ends of its foot on the ground first, ' +
      'then on round its outline',
    make: (p, frame) => ({ kind: 'receiver', frame, surface: 'wall', polygon: [...p], base: [p[0]!, p[1]!] }),
  },
  {
    kind: 'receiver',
    label: 'step',
    about: 'what takes its shadow',
    on: 'plate',
    points: null,
    hint: 'outline of a level surface that the shadow falls on, and how high over the ground (negative: under it)',
    asks: 'height',
    make: (p, frame, height) => ({ kind: 'receiver', frame, surface: 'step', polygon: [...p], height: height ?? 0 }),
  },
  {
    kind: 'receiver',
    label: 'rounded',
    about: 'what takes its shadow',
    on: 'plate',
    points: null,
    hint: 'outline of a rounded body that the shadow falls on (a head, a shoulder, a column)',
    make: (p, frame) => ({ kind: 'receiver', frame, surface: 'face', polygon: [...p] }),
  },
  {
    kind: 'shade',
    label: 'in shadow',
    about: 'where the light is',
    on: 'plate',
    points: null,
    hint:
      'outline of where a shadow of the plate lies on the performer (of whoever stands beside it, of a wall); ' +
      'put it on a few frames where it moves',
    make: (p, frame) => ({ kind: 'shade', frame, polygon: [...p] }),
  },
  {
    kind: 'tone',
    label: 'known tone',
    about: 'where the light is',
    points: null,
    hint:
      'outline of a surface that you know, in the light that the performer gets (paper, a grey card, a face); ' +
      'then say what it is: it tells how bright and how warm the join has to be',
    // Until it is said what it is it counts next to nothing.
    make: (p, frame) => ({ kind: 'tone', frame, polygon: [...p], reflects: 0.3, sdStops: 1.5 }),
  },
  {
    kind: 'reflector',
    label: 'mirrors',
    about: 'what mirrors it',
    on: 'plate',
    points: null,
    hint: 'outline of a floor or water that mirrors the performer',
    make: (p, frame) => ({ kind: 'reflector', frame, polygon: [...p] }),
  },
  {
    kind: 'reflector',
    label: 'mirrors upright',
    about: 'what mirrors it',
    on: 'plate',
    points: null,
    hint:
      'a pane of glass or a mirror that stands upright and shows the performer: ' +
      'the two ends of its foot on the ground first (or where it would meet it), then on round its outline',
    make: (p, frame) => ({ kind: 'reflector', frame, polygon: [...p], base: [p[0]!, p[1]!] }),
  },
  {
    kind: 'pane',
    label: 'pane',
    about: 'what is before it',
    on: 'plate',
    points: null,
    hint: 'outline of the glass before the performer',
    make: (p, frame) => ({ kind: 'pane', frame, polygon: [...p] }),
  },
  {
    kind: 'screen',
    label: 'screen',
    about: 'the screen',
    on: 'take',
    points: null,
    hint: 'outline of the useful part of the screen: what lies outside never belongs to the performer',
    make: (p, frame) => ({ kind: 'screen', frame, polygon: [...p] }),
  },
  {
    kind: 'keep',
    label: 'keep',
    about: 'the screen',
    on: 'take',
    points: null,
    hint: 'outline of something of the screen’s own colour that belongs to the performer (a green toy)',
    make: (p, frame) => ({ kind: 'keep', frame, polygon: [...p] }),
  },
  {
    kind: 'body',
    label: 'body',
    about: 'what turns or stirs',
    points: null,
    hint:
      'on a plate: outline of a turning body; on a take: the performer is cut out by this outline, ' +
      'where no screen does it (put it on a few frames)',
    make: (p, frame) => ({ kind: 'body', frame, polygon: [...p] }),
  },
  {
    kind: 'about',
    label: 'roughly round',
    about: 'the performer',
    on: 'take',
    points: null,
    hint:
      'a rough line about the performer of a take without a screen, nothing of it outside; ' +
      '“Propose marks” then finds its outline',
    make: (p, frame) => ({ kind: 'about', frame, polygon: [...p] }),
  },
  {
    kind: 'touch',
    label: 'is performer',
    about: 'the performer',
    on: 'take',
    points: 1,
    hint: 'touch what the outline missed; “Propose marks” then finds it anew',
    make: (p, frame) => ({ kind: 'touch', frame, points: [...p], on: 'performer' }),
  },
  {
    kind: 'touch',
    label: 'is set',
    about: 'the performer',
    on: 'take',
    points: 1,
    hint: 'touch what the outline took in by mistake (the ground between legs); “Propose marks” then finds it anew',
    make: (p, frame) => ({ kind: 'touch', frame, points: [...p], on: 'set' }),
  },
  {
    kind: 'stir',
    label: 'stirs',
    about: 'what turns or stirs',
    points: null,
    hint: 'outline of hair, cloth, water or leaves whose small movement is measured',
    make: (p, frame) => ({ kind: 'stir', frame, polygon: [...p] }),
  },
  {
    kind: 'pose',
    label: 'pose',
    about: 'what turns or stirs',
    points: 0,
    hint: 'yaw of whoever turns, on this frame (0 faces the camera)',
    asks: 'yaw',
    make: (_p, frame, yaw) => ({ kind: 'pose', frame, yawDeg: yaw ?? 0 }),
  },
  {
    kind: 'eyeline',
    label: 'eyeline',
    about: 'what turns or stirs',
    points: 2,
    hint: 'the eyes, then what they look at',
    make: (p, frame) => ({ kind: 'eyeline', frame, from: p[0]!, to: p[1]! }),
  },
];
