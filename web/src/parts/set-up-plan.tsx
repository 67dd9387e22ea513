/** The set-up seen from above and from the side, to scale: camera, performer, screen, lamp. */
import { Show, type JSX } from 'solid-js';
import type { LampPlan, ScreenNeed, SetUp } from '../../../src/brief/types.js';

/** Letters' height over the drawing's. */
const LETTERS = 0.062;

export function SetUpPlan(props: {
  setUp: SetUp;
  light: LampPlan | null;
  performer: number;
  screen: ScreenNeed | null;
}): JSX.Element {
  const s = () => props.setUp;
  const depth = () => s().distanceM + (props.screen?.behindM ?? 1) + 0.8;
  const wide = () => Math.max(props.screen?.widthM ?? 2, 2 * Math.abs(lampX()) + 0.8, 2.4);
  const lampX = () =>
    props.light === null ? 0 : props.light.distanceM * Math.sin((props.light.bearingDeg * Math.PI) / 180);
  const lampZ = () =>
    props.light === null ? 0 : props.light.distanceM * Math.cos((props.light.bearingDeg * Math.PI) / 180);
  const k = 100;
  /** Letters of one size in both drawings, which are shown equally high. */
  const text = (highM: number): number => LETTERS * highM * k;
  const high = () =>
    Math.max(s().cameraHeightM + 0.3, (props.screen?.heightM ?? 1) + 0.2, props.light?.heightM ?? 0, 1.2);
  // Camera right is right of a plan that has the camera at its foot.
  const px = (x: number): number => (wide() / 2 + x) * k;
  const pz = (z: number): number => (depth() - 0.4 - (s().distanceM - z)) * k;
  return (
    <div class="plans">
      <figure class="plan">
        <svg viewBox={`0 0 ${wide() * k} ${depth() * k}`} role="img" aria-label="set-up from above">
          <Show when={props.screen}>
            {(c) => (
              <rect x={px(-c().widthM / 2)} y={pz(-c().behindM) - 4} width={c().widthM * k} height="8" class="screen" />
            )}
          </Show>
          <line x1={px(0)} y1={pz(0)} x2={px(0)} y2={pz(s().distanceM)} class="sight" />
          <circle cx={px(0)} cy={pz(0)} r={Math.max(6, props.performer * k * 0.3)} class="performer" />
          <path d={`M${px(0) - 12} ${pz(s().distanceM) + 20} h24 v-16 l-6 -8 h-12 l-6 8 z`} class="camera" />
          <Show when={props.light}>
            <line x1={px(lampX())} y1={pz(lampZ())} x2={px(0)} y2={pz(0)} class="ray" />
            <circle cx={px(lampX())} cy={pz(lampZ())} r="12" class="lamp" />
          </Show>
          <text
            x={px(0) + 8}
            y={(pz(0) + pz(s().distanceM)) / 2}
            class="length"
            style={{ 'font-size': `${text(depth())}px` }}
          >
            {s().distanceM.toFixed(2)} m
          </text>
        </svg>
        <figcaption>from above</figcaption>
      </figure>
      <figure class="plan">
        <svg viewBox={`0 0 ${depth() * k} ${(high() + 0.35) * k}`} role="img" aria-label="set-up from the side">
          <line x1="0" y1={high() * k} x2={depth() * k} y2={high() * k} class="floor" />
          <Show when={props.screen}>
            {(c) => (
              <line
                x1={(depth() - 0.4 - s().distanceM - c().behindM) * k + 3}
                y1={(high() - c().heightM) * k}
                x2={(depth() - 0.4 - s().distanceM - c().behindM) * k + 3}
                y2={high() * k}
                class="screen-side"
              />
            )}
          </Show>
          <ellipse
            cx={(depth() - 0.4 - s().distanceM) * k}
            cy={(high() - s().raiseM - props.performer / 2) * k}
            rx={props.performer * 0.25 * k}
            ry={(props.performer / 2) * k}
            class="performer"
          />
          <line
            x1={(depth() - 0.4) * k}
            y1={(high() - s().cameraHeightM) * k}
            x2={(depth() - 0.4 - s().distanceM) * k}
            y2={(high() - s().raiseM - props.performer / 2) * k}
            class="sight"
          />
          <line
            x1={(depth() - 0.4) * k}
            y1={(high() - s().cameraHeightM) * k}
            x2={(depth() - 0.4) * k}
            y2={high() * k}
            class="stand"
          />
          <rect
            x={(depth() - 0.4) * k - 12}
            y={(high() - s().cameraHeightM) * k - 8}
            width="24"
            height="16"
            class="camera"
          />
          <text
            x={(depth() - 0.4) * k - 8}
            y={(high() + 0.35) * k - 0.6 * text(high() + 0.35)}
            text-anchor="end"
            class="length"
            style={{ 'font-size': `${text(high() + 0.35)}px` }}
          >
            lens {(s().cameraHeightM * 100).toFixed(0)} cm high, {Math.abs(s().tiltDeg).toFixed(1)}°{' '}
            {s().tiltDeg < 0 ? 'down' : 'up'}
          </text>
        </svg>
        <figcaption>from the side</figcaption>
      </figure>
    </div>
  );
}
