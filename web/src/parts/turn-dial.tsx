/**
 * The moving dial: a hand that turns as the plate's own turn does, after a count-in,
 * with the cue's ticks when sound is wanted.
 */
import { createSignal, onCleanup, type JSX } from 'solid-js';
import type { TurnPlan } from '../../../src/brief/types.js';
import { rateOf } from '../format.js';

const COUNT_IN = 4;

export function TurnDial(props: { turn: TurnPlan }): JSX.Element {
  const [yaw, setYaw] = createSignal(props.turn.startYawDeg);
  const [count, setCount] = createSignal<string>('');
  let raf = 0;
  onCleanup(() => cancelAnimationFrame(raf));
  const run = (): void => {
    cancelAnimationFrame(raf);
    const rate = rateOf(props.turn.rate);
    const from = performance.now();
    const step = (): void => {
      const t = (performance.now() - from) / 1000;
      if (t < COUNT_IN) setCount(String(COUNT_IN - Math.floor(t)));
      else setCount('');
      const f = Math.max(0, (t - COUNT_IN) * (rate.num / rate.den));
      const i = Math.min(props.turn.yawDeg.length - 1, Math.floor(f));
      const j = Math.min(props.turn.yawDeg.length - 1, i + 1);
      setYaw(props.turn.yawDeg[i]! + (props.turn.yawDeg[j]! - props.turn.yawDeg[i]!) * Math.min(1, f - i));
      if (f < props.turn.yawDeg.length + 12) raf = requestAnimationFrame(step);
    };
    step();
  };
  const hand = (deg: number): string => `rotate(${deg} 60 60)`;
  return (
    <figure class="dial">
      <svg
        viewBox="0 0 120 120"
        role="img"
        aria-label={`turn from ${props.turn.startYawDeg.toFixed(0)} to ${props.turn.endYawDeg.toFixed(0)} degrees`}
      >
        <circle cx="60" cy="60" r="50" class="rim" />
        {Array.from({ length: 24 }, (_, i) => (
          <line x1="60" y1="12" x2="60" y2={i % 6 === 0 ? 22 : 17} transform={hand(i * 15)} class="tick" />
        ))}
        <line x1="60" y1="60" x2="60" y2="96" transform={hand(-props.turn.endYawDeg)} class="goal" />
        <path d="M54 60 L60 100 L66 60 Z" transform={hand(-yaw())} class="hand" />
        <text x="60" y="64" text-anchor="middle" class="count">
          {count()}
        </text>
        <text x="60" y="116" text-anchor="middle" class="toward">
          camera
        </text>
      </svg>
      <figcaption>
        {Math.abs(props.turn.endYawDeg - props.turn.startYawDeg).toFixed(0)}° in {props.turn.seconds.toFixed(1)} s, at
        most {props.turn.peakDegPerSecond.toFixed(0)}°/s
        <br />
        <button onClick={run}>Turn with me</button>
      </figcaption>
    </figure>
  );
}
