/** Marks drawn over a picture: their points that can be dragged, and their shapes. */
import { Index, type JSX } from 'solid-js';
import { markPoints } from '../../../src/plate/marks/mark-points.js';
import type { Mark } from '../../../src/plate/marks/marks.js';

/** A place in the picture, px from its top left corner. */
export type P = [number, number];

/** Foot and top of a carried performer, where they are marked. */
function seatOf(m: Extract<Mark, { kind: 'carry' }>): readonly (readonly [number, number])[] {
  return m.ground === undefined || m.top === undefined ? [] : [m.ground, m.top];
}

/** Points of a mark that can be dragged, px of the picture, in the order that `withHandle` counts them by. */
export function handles(m: Mark): P[] {
  switch (m.kind) {
    // A known top hangs on the foot and is not dragged.
    case 'shadow':
      return [[...m.foot], [...m.tip]];
    case 'head': {
      const [cx, cy, rx, ry, deg] = m.ellipse;
      const c = Math.cos((deg * Math.PI) / 180);
      const s = Math.sin((deg * Math.PI) / 180);
      return [
        [cx, cy],
        [cx + rx * c, cy + rx * s],
        [cx - ry * s, cy + ry * c],
      ];
    }
    // Where it sits on what carries it, then the outline of that.
    case 'carry':
      return [...seatOf(m), ...m.region].map(([x, y]) => [x, y]);
    default:
      return markPoints(m).map(([x, y]) => [x, y]);
  }
}

/** The mark with its handle `i` put at `p`; unchanged where it has none. */
export function withHandle(m: Mark, i: number, p: P): Mark {
  const at = <T extends readonly (readonly [number, number])[]>(list: T): [number, number][] =>
    list.map((q, k) => (k === i ? p : [q[0], q[1]]));
  switch (m.kind) {
    case 'upright':
      return i === 0 ? { ...m, foot: p } : { ...m, top: p };
    case 'groundLines':
      return { ...m, lines: m.lines.map((l, k) => l.map((q, j) => (k * 2 + j === i ? p : q)) as [P, P]) };
    case 'horizon':
      return { ...m, line: at(m.line) as [P, P] };
    case 'rectangle':
      return { ...m, corners: at(m.corners) as [P, P, P, P] };
    case 'shadow':
      return i === 0 ? { ...m, foot: p } : { ...m, tip: p };
    // Middle; the end of the first half axis, which also turns it; the end of the second.
    case 'head': {
      const [cx, cy, rx, ry, deg] = m.ellipse;
      if (i === 0) return { ...m, ellipse: [p[0], p[1], rx, ry, deg] };
      const r = Math.max(1, Math.hypot(p[0] - cx, p[1] - cy));
      return i === 1
        ? { ...m, ellipse: [cx, cy, r, ry, (Math.atan2(p[1] - cy, p[0] - cx) * 180) / Math.PI] }
        : { ...m, ellipse: [cx, cy, rx, r, deg] };
    }
    case 'face':
      return { ...m, ...(i === 0 ? { leftEye: p } : i === 1 ? { rightEye: p } : i === 2 ? { nose: p } : { mouth: p }) };
    case 'stand':
    case 'performer':
      return i === 0 ? { ...m, ground: p } : { ...m, top: p };
    case 'carry': {
      const k = i - seatOf(m).length;
      return k >= 0
        ? { ...m, region: m.region.map((q, n) => (n === k ? p : q)) }
        : i === 0
          ? { ...m, ground: p }
          : { ...m, top: p };
    }
    case 'erase':
    case 'front':
    case 'pane':
    case 'tone':
    case 'screen':
    case 'keep':
    case 'stir':
    case 'shade':
    case 'patch':
    case 'about':
      return { ...m, polygon: at(m.polygon) };
    case 'receiver':
    case 'reflector': {
      const k = i - m.polygon.length;
      return k < 0 || m.base === undefined
        ? { ...m, polygon: at(m.polygon) }
        : { ...m, base: k === 0 ? [p, m.base[1]] : [m.base[0], p] };
    }
    case 'touch':
      return { ...m, points: at(m.points) };
    case 'eyeline':
      return i === 0 ? { ...m, from: p } : { ...m, to: p };
    case 'layer':
      return { ...m, foot: p };
    case 'body': {
      const k = m.axis?.length ?? 0;
      return i < k
        ? { ...m, axis: at(m.axis!) as [P, P] }
        : m.polygon === undefined
          ? m
          : { ...m, polygon: m.polygon.map((q, n) => (n === i - k ? p : q)) };
    }
    case 'pose':
    case 'widen':
      return m;
  }
}

/** A mark's lines and its handles, drawn in picture pixels; `scale`: picture pixels a screen pixel. */
export function MarkShape(props: {
  mark: Mark;
  faint: boolean;
  chosen: boolean;
  onGrab?: (handle: number, e: PointerEvent) => void;
  onChoose?: () => void;
  scale: number;
}): JSX.Element {
  const d = (): string => {
    const m = props.mark;
    const path = (list: readonly (readonly [number, number])[], closed: boolean): string =>
      list.map((p, i) => `${i === 0 ? 'M' : 'L'}${p[0]} ${p[1]}`).join('') + (closed ? 'Z' : '');
    switch (m.kind) {
      case 'groundLines':
        return m.lines.map((l) => path(l, false)).join('');
      case 'rectangle':
        return path(m.corners, true);
      case 'carry':
        return path(m.region, true) + path(seatOf(m), false);
      case 'erase':
      case 'front':
      case 'pane':
      case 'tone':
      case 'screen':
      case 'keep':
      case 'stir':
      case 'shade':
      case 'patch':
      case 'about':
        return path(m.polygon, true);
      case 'receiver':
      case 'reflector':
        return path(m.polygon, true) + (m.base === undefined ? '' : path(m.base, false));
      case 'head': {
        const [cx, cy, rx, ry, deg] = m.ellipse;
        const x = rx * Math.cos((deg * Math.PI) / 180);
        const y = rx * Math.sin((deg * Math.PI) / 180);
        const half = `a${rx} ${ry} ${deg} 1 0`;
        return `M${cx - x} ${cy - y}${half} ${2 * x} ${2 * y}${half} ${-2 * x} ${-2 * y}`;
      }
      case 'body':
        return (
          (m.axis === undefined ? '' : path(m.axis, false)) + (m.polygon === undefined ? '' : path(m.polygon, true))
        );
      default:
        return path(handles(m), false);
    }
  };
  return (
    <g class={`mark ${props.mark.kind}`} data-faint={props.faint} data-chosen={props.chosen}>
      <path d={d()} onClick={() => props.onChoose?.()} />
      {/* By place: a point that is dragged stays the element that was pressed. */}
      {/* Outlines of other frames have dozens of points, in whose way they would lie. */}
      <Index each={props.faint && props.mark.kind === 'body' ? [] : handles(props.mark)}>
        {(p, i) => <circle cx={p()[0]} cy={p()[1]} r={5 * props.scale} onPointerDown={(e) => props.onGrab?.(i, e)} />}
      </Index>
    </g>
  );
}
