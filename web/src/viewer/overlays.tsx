/**
 * What was measured, drawn over the picture so that a person can see that it is right: horizon, ground
 * grid, sun, shadows that were found, ride, heights.
 */
import { For, Show, type JSX } from 'solid-js';
import type { PlateMeasures, View } from '../../../src/plate/types.js';
import type { MarksFile } from '../../../src/plate/marks/marks.js';
import { groundCamera, groundPoint, horizonLine, project, type Pinhole } from '../../../src/geometry/camera.js';

type P = readonly [number, number];

function cameraOf(view: View): Pinhole | null {
  const f = view.focalPx.value;
  const t = view.tiltDeg.value;
  const h = view.cameraHeight.value;
  return f === null || t === null || h === null
    ? null
    : groundCamera({
        focalPx: f,
        tiltDeg: t,
        rollDeg: view.rollDeg.value ?? 0,
        cameraHeight: h,
        widthPx: view.widthPx,
        heightPx: view.heightPx,
      });
}

function segment(
  c: Pinhole,
  a: readonly [number, number, number],
  b: readonly [number, number, number],
): string | null {
  const p = project(c, a);
  const q = project(c, b);
  return p === null || q === null ? null : `M${p.x.toFixed(1)} ${p.y.toFixed(1)}L${q.x.toFixed(1)} ${q.y.toFixed(1)}`;
}

/** Lines a metre (or a camera height) apart on the ground before the camera, as an SVG path; `h`: its height. */
function gridPath(c: Pinhole, h: number): string {
  const near = Math.max(1, Math.floor(h * 1.2));
  const far = near + 14;
  const parts: string[] = [];
  for (let z = near; z <= far; z++) {
    const s = segment(c, [-6, 0, z], [6, 0, z]);
    if (s) parts.push(s);
  }
  for (let x = -6; x <= 6; x++) {
    const s = segment(c, [x, 0, near], [x, 0, far]);
    if (s) parts.push(s);
  }
  return parts.join('');
}

/** The horizon across a picture of this width; empty for a camera that lies on its side. */
function horizonPath(c: Pinhole, width: number): string {
  const [a, b, k] = horizonLine(c);
  return Math.abs(b) < 1e-6 ? '' : `M0 ${(-k / b).toFixed(1)}L${width} ${(-(a * width + k) / b).toFixed(1)}`;
}

/** The shadow that a post of height 1 on the ground at `foot` (px) would throw by this light. */
function postShadow(
  c: Pinhole,
  foot: P,
  azimuthDeg: number,
  elevationDeg: number,
): { post: string; shade: string; tip: P } | null {
  const at = groundPoint(c, foot[0], foot[1]);
  if (at === null) return null;
  const length = 1 / Math.tan((elevationDeg * Math.PI) / 180);
  const a = (azimuthDeg * Math.PI) / 180;
  // Light from azimuth a (0 behind the camera, positive from its right) throws the shadow away from it.
  const end: [number, number, number] = [at[0] - length * Math.sin(a), 0, at[2] + length * Math.cos(a)];
  const tip = project(c, end);
  const post = segment(c, at, [at[0], 1, at[2]]);
  const shade = segment(c, at, end);
  return post === null || shade === null || tip === null ? null : { post, shade, tip: [tip.x, tip.y] };
}

/** The way of the followed region's middle up to a frame, as an SVG path. */
function trailPath(frames: NonNullable<PlateMeasures['ride']>['frames'], upTo: number): string {
  return frames
    .filter((f) => f.frame <= upTo)
    .map(
      (f, i) =>
        `${i === 0 ? 'M' : 'L'}${mean(f.corners.map((p) => p[0])).toFixed(1)} ` +
        mean(f.corners.map((p) => p[1])).toFixed(1),
    )
    .join('');
}

/** `width` and `height`: of the picture, px. */
export function Overlays(props: {
  measures: PlateMeasures;
  marks: MarksFile;
  frame: number;
  width: number;
  height: number;
}): JSX.Element {
  const view = () => props.measures.view;
  const camera = () => (view() === undefined ? null : cameraOf(view()!));
  const grid = (): string => {
    const c = camera();
    return c === null ? '' : gridPath(c, view()!.cameraHeight.value!);
  };
  const horizon = (): string => {
    const c = camera();
    return c === null ? '' : horizonPath(c, props.width);
  };
  /** Of a post at the stand mark, or low in the picture's middle. */
  const shadow = () => {
    const c = camera();
    const azimuthDeg = props.measures.light?.azimuthDeg.value;
    const elevationDeg = props.measures.light?.elevationDeg.value;
    // A lower light throws shadows out of the picture.
    if (c === null || azimuthDeg == null || elevationDeg == null || elevationDeg < 2) return null;
    const stand = props.marks.marks.find((m) => m.kind === 'stand');
    const foot: P = stand?.kind === 'stand' ? stand.ground : [props.width / 2, props.height * 0.86];
    return postShadow(c, foot, azimuthDeg, elevationDeg);
  };
  const ride = () => props.measures.ride?.frames.find((f) => f.frame === props.frame);
  const trail = (): string => trailPath(props.measures.ride?.frames ?? [], props.frame);
  return (
    <g class="overlay">
      <path d={grid()} class="grid" />
      <path d={horizon()} class="horizon" />
      <Show when={shadow()}>
        {(s) => (
          <>
            <path d={s().post} class="post" />
            <path d={s().shade} class="shade" />
            <circle cx={s().tip[0]} cy={s().tip[1]} r="4" class="shade-tip" />
          </>
        )}
      </Show>
      <For each={props.measures.foundShadows?.filter((f) => f.frame === props.frame)}>
        {(f) => (
          <>
            <path d={`M${f.foot.join(' ')}L${f.tip.join(' ')}`} class="shade" />
            <circle cx={f.tip[0]} cy={f.tip[1]} r="4" class="shade-tip" />
          </>
        )}
      </For>
      <path d={trail()} class="trail" />
      <Show when={ride()}>
        {(r) => (
          <>
            <polygon
              points={r()
                .corners.map((p) => p.join(','))
                .join(' ')}
              class="ride"
              style={{ opacity: String(0.35 + 0.65 * r().confidence) }}
            />
            <For each={r().corners}>{(p) => <circle cx={p[0]} cy={p[1]} r="3" class="ride-corner" />}</For>
          </>
        )}
      </Show>
    </g>
  );
}

function mean(v: readonly number[]): number {
  return v.reduce((a, b) => a + b, 0) / Math.max(1, v.length);
}
