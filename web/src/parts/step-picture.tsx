/**
 * The recipe's picture on the frame in view: whole, or one step alone, before, after, or wiped from before to after.
 */
import { createSignal, Show, type JSX } from 'solid-js';
import { latestPicture } from './latest-picture.js';

/** How a step is looked at. */
export type SeenAs = 'alone' | 'before' | 'after' | 'wipe';
/** The step that is looked at: its name in the recipe, and by which words. */
export interface Seen {
  readonly step: string;
  readonly label: string;
  readonly as: SeenAs;
}

interface StepPictureProps {
  address: (view: 'alone' | 'before' | 'after' | null) => string;
  /** Of the recipe that is in the book. */
  version: string;
  frame: number;
  frames: number;
  /** Width over height. */
  ratio: number;
  seen: Seen | null;
  /** Where the performer is, percent of the width: a wipe begins there until it is moved. */
  middle: number;
  onFrame: (n: number) => void;
  onSeen: (s: Seen | null) => void;
}

/** What the picture shows, for its caption and for who does not see it. */
function wordsOf(seen: Seen | null): string {
  return seen === null
    ? 'the whole recipe'
    : {
        alone: `${seen.label} alone`,
        before: `before ${seen.label}`,
        after: `after ${seen.label}`,
        wipe: `left before, right after ${seen.label}`,
      }[seen.as];
}

export function StepPicture(props: StepPictureProps): JSX.Element {
  const [wiped, setWipe] = createSignal<number | null>(null);
  const wipe = () => wiped() ?? props.middle;
  const view = () => (props.seen === null ? null : props.seen.as === 'wipe' ? 'after' : props.seen.as);
  const main = latestPicture(
    () => props.address(view()),
    () => props.version,
  );
  const before = latestPicture(
    () => (props.seen?.as === 'wipe' ? props.address('before') : null),
    () => props.version,
  );
  const words = () => wordsOf(props.seen);
  return (
    <figure class="mat wide">
      <div class="picture step-picture" style={{ 'aspect-ratio': String(props.ratio) }}>
        <Show when={main.url() !== ''}>
          <img src={main.url()} alt={`frame ${props.frame} of the join, ${words()}`} />
        </Show>
        <Show when={props.seen?.as === 'wipe' && before.url() !== ''}>
          <img
            class="before"
            src={before.url()}
            alt={`frame ${props.frame}, before ${props.seen!.label}`}
            style={{ 'clip-path': `inset(0 ${100 - wipe()}% 0 0)` }}
          />
          <span class="wipe-edge" style={{ left: `${wipe()}%` }} />
        </Show>
        <Show when={main.late() || before.late()}>
          <span class="making" role="status">
            making the picture …
          </span>
        </Show>
      </div>
      <Show when={main.error() ?? before.error()}>
        {(e) => (
          <p class="refused" role="alert">
            {e()}
          </p>
        )}
      </Show>
      <Caption {...props} words={words()} wipe={wipe()} onWipe={setWipe} />
    </figure>
  );
}

/** Which frame, how far the wipe has come, and what is seen. `wipe`: share of the width, percent. */
function Caption(
  props: StepPictureProps & { words: string; wipe: number; onWipe: (percent: number) => void },
): JSX.Element {
  return (
    <figcaption>
      <label>
        frame{' '}
        <input
          type="range"
          min="0"
          max={props.frames - 1}
          value={props.frame}
          onInput={(e) => props.onFrame(Number(e.currentTarget.value))}
        />{' '}
        <span class="number">{props.frame}</span>
      </label>
      <Show when={props.seen?.as === 'wipe'}>
        <label>
          wipe{' '}
          <input
            type="range"
            min="0"
            max="100"
            value={props.wipe}
            onInput={(e) => props.onWipe(Number(e.currentTarget.value))}
          />
        </label>
      </Show>
      <span class="seen-words">{props.words}</span>
      <Show when={props.seen !== null}>
        <button onClick={() => props.onSeen(null)}>Whole recipe</button>
      </Show>
    </figcaption>
  );
}
