/** What the program would mark on a frame: shown apart until a person takes it. */
import { createSignal } from 'solid-js';
import type { ProposedMark } from '../../../src/plate/marks/propose-marks.js';
import { proposeMarks } from '../api.js';
import type { Marking } from './marking.js';
import type { ViewerRequest } from './state.js';

/** What was proposed on which frame, and the ways to take or leave it; a taken one is added to the marks. */
export function useProposing(v: ViewerRequest, frame: () => number, { add, marksFile }: Marking) {
  const [proposed, setProposed] = createSignal<readonly ProposedMark[]>([]);
  const [asked, setAsked] = createSignal<number | null>(null);
  const [looking, setLooking] = createSignal(false);
  const [pointed, setPointed] = createSignal<ProposedMark | null>(null);
  const propose = async (): Promise<void> => {
    setLooking(true);
    const n = frame();
    const answer = await proposeMarks(v.what, v.id, n);
    setLooking(false);
    if (answer === null) return;
    setProposed(answer.proposals);
    setAsked(n);
  };
  const leave = (p: ProposedMark): void => {
    setPointed(null);
    setProposed(proposed().filter((x) => x !== p));
  };
  const accept = (p: ProposedMark): void => {
    const at = p.mark.frame ?? asked() ?? frame();
    // An outline found anew takes the place of the one on its frame.
    add(
      `mark ${p.mark.kind}, as proposed`,
      { ...p.mark, frame: at },
      (m) =>
        v.what === 'take' &&
        p.mark.kind === 'body' &&
        m.kind === 'body' &&
        m.polygon !== undefined &&
        (m.frame ?? marksFile().frame) === at,
    );
    leave(p);
  };
  return { proposed, asked, looking, pointed, setPointed, propose, leave, accept };
}

/** What the viewer's parts share about proposed marks. */
export type Proposing = ReturnType<typeof useProposing>;
