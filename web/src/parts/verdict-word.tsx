/** The verdict as a word in a stamp: told apart by its frame, not by colour. */
import type { JSX } from 'solid-js';

export function VerdictWord(props: { word: string | null | undefined; small?: boolean }): JSX.Element {
  const kind = () => (props.word ?? 'open').replaceAll(' ', '-');
  return <span class={`stamp ${kind()}${props.small ? ' small' : ''}`}>{props.word ?? 'can’t be judged'}</span>;
}
