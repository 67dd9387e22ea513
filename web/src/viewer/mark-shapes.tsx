/** Marks drawn over a picture, and the tools by which a person draws them: how many points a mark takes, and what it becomes. */
import { For, type JSX } from 'solid-js';
import type { Mark } from '../../../src/plate/marks.js';

export type P = [number, number];

export interface MarkTool {
  readonly kind: Mark['kind'];
  readonly label: string;
  /** Fixed number of points, or null for a closed outline of three or more. */
  readonly points: number | null;
  readonly hint: string;
  readonly asks?: 'height' | 'yaw' | 'later';
  make(points: readonly P[], frame: number, number: number | undefined): Mark;
}

export const TOOLS: readonly MarkTool[] = [
  { kind: 'upright', label: 'upright', points: 2, hint: 'foot, then top, of something upright', asks: 'height', make: (p, frame, height) => ({ kind: 'upright', frame, foot: p[0]!, top: p[1]!, ...(height ? { height } : {}) }) },
  { kind: 'groundLines', label: 'ground lines', points: 4, hint: 'two lines on the ground that are parallel in the scene: two points each', make: (p, frame) => ({ kind: 'groundLines', frame, lines: [[p[0]!, p[1]!], [p[2]!, p[3]!]] }) },
  { kind: 'horizon', label: 'horizon', points: 2, hint: 'two points of the horizon', make: (p, frame) => ({ kind: 'horizon', frame, line: [p[0]!, p[1]!] }) },
  { kind: 'shadow', label: 'shadow', points: 2, hint: 'foot of what casts it, then the shadow’s tip', asks: 'height', make: (p, frame, height) => ({ kind: 'shadow', frame, foot: p[0]!, tip: p[1]!, ...(height ? { height } : {}) }) },
  { kind: 'head', label: 'head', points: 2, hint: 'middle of the head, then its edge to the side', make: (p, frame) => { const r = Math.hypot(p[1]![0] - p[0]![0], p[1]![1] - p[0]![1]); return { kind: 'head', frame, ellipse: [p[0]![0], p[0]![1], r, r * 1.25, 0] }; } },
  { kind: 'face', label: 'face', points: 3, hint: 'a face that turns: the eye on the left of the picture, the eye on its right, the tip of the nose; one frame that shows all three is enough, more are better', make: (p, frame) => ({ kind: 'face', frame, leftEye: p[0]!, rightEye: p[1]!, nose: p[2]! }) },
  { kind: 'stand', label: 'stands here', points: 2, hint: 'where the performer’s feet are, then where its top is', asks: 'height', make: (p, frame, height) => ({ kind: 'stand', frame, ground: p[0]!, top: p[1]!, ...(height ? { height } : {}) }) },
  { kind: 'carry', label: 'rides on', points: null, hint: 'outline of what the performer rides on', make: (p, frame) => ({ kind: 'carry', frame, region: [...p] }) },
  { kind: 'performer', label: 'performer', points: 2, hint: 'the performer’s feet, then its top', asks: 'height', make: (p, frame, height) => ({ kind: 'performer', frame, ground: p[0]!, top: p[1]!, ...(height ? { height } : {}) }) },
  { kind: 'erase', label: 'erase', points: null, hint: 'outline of what goes', make: (p, frame) => ({ kind: 'erase', frame, polygon: [...p] }) },
  { kind: 'erase', label: 'its shadow', points: null, hint: 'outline of a shadow of what goes, a little wider than it; where no frame shows the ground lit it is relit', make: (p, frame) => ({ kind: 'erase', frame, polygon: [...p], shadow: true }) },
  { kind: 'patch', label: 'patch', points: null, hint: 'outline of the part that another take’s replaces, or that replaces it; on a plate: taken from so many frames later of the same shot', asks: 'later', make: (p, frame, later) => ({ kind: 'patch', frame, polygon: [...p], ...(later ? { offsetFrames: Math.round(later) } : {}) }) },
  { kind: 'front', label: 'in front', points: null, hint: 'outline of what passes before the performer', make: (p, frame) => ({ kind: 'front', frame, polygon: [...p] }) },
  { kind: 'receiver', label: 'wall', points: null, hint: 'a wall that the performer’s shadow falls on: the two ends of its foot on the ground first, then on round its outline', make: (p, frame) => ({ kind: 'receiver', frame, surface: 'wall', polygon: [...p], base: [p[0]!, p[1]!] }) },
  { kind: 'receiver', label: 'step', points: null, hint: 'outline of a level surface that the shadow falls on, and how high over the ground (negative: under it)', asks: 'height', make: (p, frame, height) => ({ kind: 'receiver', frame, surface: 'step', polygon: [...p], height: height ?? 0 }) },
  { kind: 'receiver', label: 'rounded', points: null, hint: 'outline of a rounded body that the shadow falls on (a head, a shoulder, a column)', make: (p, frame) => ({ kind: 'receiver', frame, surface: 'face', polygon: [...p] }) },
  { kind: 'pane', label: 'pane', points: null, hint: 'outline of the glass before the performer', make: (p, frame) => ({ kind: 'pane', frame, polygon: [...p] }) },
  { kind: 'screen', label: 'screen', points: null, hint: 'outline of the useful part of the screen: what lies outside never belongs to the performer', make: (p, frame) => ({ kind: 'screen', frame, polygon: [...p] }) },
  { kind: 'keep', label: 'keep', points: null, hint: 'outline of something of the screen’s own colour that belongs to the performer (a green toy)', make: (p, frame) => ({ kind: 'keep', frame, polygon: [...p] }) },
  { kind: 'stir', label: 'stirs', points: null, hint: 'outline of hair, cloth, water or leaves whose small movement is measured', make: (p, frame) => ({ kind: 'stir', frame, polygon: [...p] }) },
  { kind: 'pose', label: 'pose', points: 0, hint: 'yaw of whoever turns, on this frame (0 faces the camera)', asks: 'yaw', make: (_p, frame, yaw) => ({ kind: 'pose', frame, yawDeg: yaw ?? 0 }) },
  { kind: 'eyeline', label: 'eyeline', points: 2, hint: 'the eyes, then what they look at', make: (p, frame) => ({ kind: 'eyeline', frame, from: p[0]!, to: p[1]! }) },
];

/** Points of a mark that can be dragged, and the mark with one moved. */
export function handles(m: Mark): P[] {
  switch (m.kind) {
    case 'upright': return [[...m.foot], [...m.top]];
    case 'groundLines': return m.lines.flat().map((p) => [...p]);
    case 'horizon': return m.line.map((p) => [...p] as P);
    case 'rectangle': return m.corners.map((p) => [...p] as P);
    case 'shadow': return [[...m.foot], [...m.tip]];
    case 'head': return [[m.ellipse[0], m.ellipse[1]]];
    case 'face': return [m.leftEye, m.rightEye, m.nose, ...(m.mouth === undefined ? [] : [m.mouth])].map((p) => [...p] as P);
    case 'stand': case 'performer': return [[...m.ground], [...m.top]];
    case 'carry': return m.region.map((p) => [...p] as P);
    case 'erase': case 'front': case 'pane': case 'screen': case 'keep': case 'stir': case 'reflector': case 'patch': return m.polygon.map((p) => [...p] as P);
    case 'receiver': return [...m.polygon, ...(m.base ?? [])].map((p) => [...p] as P);
    case 'body': return [...(m.axis ?? []), ...(m.polygon ?? [])].map((p) => [...p] as P);
    case 'pose': case 'widen': return [];
    case 'layer': return m.foot === undefined ? [] : [[...m.foot]];
    case 'eyeline': return [[...m.from], [...m.to]];
  }
}

export function withHandle(m: Mark, i: number, p: P): Mark {
  const at = <T extends readonly (readonly [number, number])[]>(list: T): [number, number][] => list.map((q, k) => (k === i ? p : [q[0], q[1]]));
  switch (m.kind) {
    case 'upright': return i === 0 ? { ...m, foot: p } : { ...m, top: p };
    case 'groundLines': return { ...m, lines: m.lines.map((l, k) => l.map((q, j) => (k * 2 + j === i ? p : q)) as [P, P]) };
    case 'horizon': return { ...m, line: at(m.line) as [P, P] };
    case 'rectangle': return { ...m, corners: at(m.corners) as [P, P, P, P] };
    case 'shadow': return i === 0 ? { ...m, foot: p } : { ...m, tip: p };
    case 'head': return { ...m, ellipse: [p[0], p[1], m.ellipse[2], m.ellipse[3], m.ellipse[4]] };
    case 'face': return { ...m, ...(i === 0 ? { leftEye: p } : i === 1 ? { rightEye: p } : i === 2 ? { nose: p } : { mouth: p }) };
    case 'stand': case 'performer': return i === 0 ? { ...m, ground: p } : { ...m, top: p };
    case 'carry': return { ...m, region: at(m.region) };
    case 'erase': case 'front': case 'pane': case 'screen': case 'keep': case 'stir': case 'reflector': case 'patch': return { ...m, polygon: at(m.polygon) };
    case 'receiver': { const k = i - m.polygon.length; return k < 0 || m.base === undefined ? { ...m, polygon: at(m.polygon) } : { ...m, base: k === 0 ? [p, m.base[1]] : [m.base[0], p] }; }
    case 'eyeline': return i === 0 ? { ...m, from: p } : { ...m, to: p };
    case 'layer': return { ...m, foot: p };
    case 'body': case 'pose': case 'widen': return m;
  }
}

export function MarkShape(props: { mark: Mark; faint: boolean; chosen: boolean; onGrab?: (handle: number, e: PointerEvent) => void; onChoose?: () => void; scale: number }): JSX.Element {
  const d = (): string => {
    const m = props.mark;
    const path = (list: readonly (readonly [number, number])[], closed: boolean): string => list.map((p, i) => `${i === 0 ? 'M' : 'L'}${p[0]} ${p[1]}`).join('') + (closed ? 'Z' : '');
    switch (m.kind) {
      case 'groundLines': return m.lines.map((l) => path(l, false)).join('');
      case 'rectangle': return path(m.corners, true);
      case 'carry': return path(m.region, true);
      case 'erase': case 'front': case 'pane': case 'screen': case 'keep': case 'stir': case 'reflector': case 'patch': return path(m.polygon, true);
      case 'receiver': return path(m.polygon, true) + (m.base === undefined ? '' : path(m.base, false));
      case 'head': { const [cx, cy, rx, ry] = m.ellipse; return `M${cx - rx} ${cy}a${rx} ${ry} 0 1 0 ${2 * rx} 0a${rx} ${ry} 0 1 0 ${-2 * rx} 0`; }
      default: return path(handles(m), false);
    }
  };
  return (
    <g class={`mark ${props.mark.kind}`} data-faint={props.faint} data-chosen={props.chosen}>
      <path d={d()} onClick={() => props.onChoose?.()} />
      <For each={handles(props.mark)}>{(p, i) => <circle cx={p[0]} cy={p[1]} r={5 * props.scale} onPointerDown={(e) => props.onGrab?.(i(), e)} />}</For>
    </g>
  );
}
