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
    if (c === null) return '';
    const h = view()!.cameraHeight.value!;
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
  };
  const horizon = (): string => {
    const c = camera();
    if (c === null) return '';
    const [a, b, k] = horizonLine(c);
    return Math.abs(b) < 1e-6
      ? ''
      : `M0 ${(-k / b).toFixed(1)}L${props.width} ${(-(a * props.width + k) / b).toFixed(1)}`;
  };
  /** The shadow that a metre post at the stand mark would throw by the measured light. */
  const shadow = (): { post: string; shade: string; tip: P } | null => {
    const c = camera();
    const l = props.measures.light;
    const az = l?.azimuthDeg.value;
    const el = l?.elevationDeg.value;
    if (c === null || az == null || el == null || el < 2) return null;
    const stand = props.marks.marks.find((m) => m.kind === 'stand');
    const at =
      stand?.kind === 'stand'
        ? groundPoint(c, stand.ground[0], stand.ground[1])
        : groundPoint(c, props.width / 2, props.height * 0.86);
    if (at === null) return null;
    const h = 1;
    const length = h / Math.tan((el * Math.PI) / 180);
    const a = (az * Math.PI) / 180;
    // Light from azimuth a (0 behind the camera, positive from its right) throws the shadow away from it.
    const end: [number, number, number] = [at[0] - length * Math.sin(a), 0, at[2] + length * Math.cos(a)];
    const tip = project(c, end);
    const post = segment(c, at, [at[0], h, at[2]]);
    const shade = segment(c, at, end);
    return post === null || shade === null || tip === null ? null : { post, shade, tip: [tip.x, tip.y] };
  };
  const ride = () => props.measures.ride?.frames.find((f) => f.frame === props.frame);
  const trail = (): string =>
    props.measures.ride?.frames
      .filter((f) => f.frame <= props.frame)
      .map(
        (f, i) =>
          `${i === 0 ? 'M' : 'L'}${mean(f.corners.map((p) => p[0])).toFixed(1)} ` +
          mean(f.corners.map((p) => p[1])).toFixed(1),
      )
      .join('') ?? '';
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
