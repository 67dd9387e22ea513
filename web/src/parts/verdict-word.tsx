/** The verdict as a word in a stamp: told apart by its frame, not by colour. */
import { Show, type JSX } from 'solid-js';
import type { Verdict } from '../../../src/take/types.js';
import { judgedWords } from '../../../src/take/verdict/matter-words.js';

export function VerdictWord(props: { word: string | null | undefined; small?: boolean }): JSX.Element {
  const kind = () => (props.word ?? 'open').replaceAll(' ', '-');
  return <span class={`stamp ${kind()}${props.small ? ' small' : ''}`}>{props.word ?? 'can’t be judged'}</span>;
}

/** A whole take's word, and of how many matters it is the word where some could not be judged. */
export function TakeVerdict(props: { verdict: Verdict; small?: boolean }): JSX.Element {
  const judged = () => judgedWords(props.verdict.matters);
  return (
    <>
      <VerdictWord word={props.verdict.verdict} small={props.small} />
      <Show when={judged() !== ''}>
        {' '}
        <span class="pencil-note">{judged()}</span>
      </Show>
    </>
  );
}
