/** The line under the picture: stepping, playing, the frame, the wipe, and what a pixel reads. */
import { Show, type JSX } from 'solid-js';
import type { Facts } from './facts.js';
import type { Look } from './look.js';
import type { Player } from './player.js';
import type { Pointing } from './pointing.js';

export function ViewerFoot(props: {
  readonly facts: Facts;
  readonly player: Player;
  readonly look: Look;
  readonly pointing: Pointing;
}): JSX.Element {
  const { facts } = props;
  const { frame, speed, setSpeed, stopAt } = props.player;
  const { compare, wipe, setWipe } = props.look;
  const { pixel, at } = props.pointing;
  return (
    <div class="viewer-foot">
      <button onClick={() => stopAt(frame() - 1)} aria-label="one frame back">
        ‹
      </button>
      <button onClick={() => setSpeed(speed() === 0 ? 1 : 0)} aria-label={speed() === 0 ? 'play' : 'stop'}>
        {speed() === 0 ? 'Play' : 'Stop'}
      </button>
      <button onClick={() => stopAt(frame() + 1)} aria-label="one frame on">
        ›
      </button>
      <label class="frame-to">
        frame{' '}
        <input
          type="number"
          min={facts().first}
          max={facts().last}
          value={frame()}
          onChange={(e) => stopAt(Number(e.currentTarget.value) || facts().first)}
        />
      </label>
      <input
        type="range"
        min={facts().first}
        max={facts().last}
        value={frame()}
        onInput={(e) => stopAt(Number(e.currentTarget.value))}
        aria-label="frame"
      />
      <Show when={compare() === 'wipe'}>
        <label>
          wipe{' '}
          <input
            type="range"
            min="0"
            max="1"
            step="0.005"
            value={wipe()}
            onInput={(e) => setWipe(Number(e.currentTarget.value))}
          />
        </label>
      </Show>
      <span class="readout number">
        {pixel() === ''
          ? at() === null
            ? 'click the picture to read a pixel'
            : `${Math.floor(at()![0])}, ${Math.floor(at()![1])}`
          : pixel()}
      </span>
    </div>
  );
}
