/** What is chosen of a take's start and speed beside what the join's recipe has, and asking for a recipe with it. */
import { createEffect, createMemo, createSignal, on } from 'solid-js';
import type { JoinDocument, PickDocument } from '../../../src/book/documents.js';
import { LEAST_SPEED, MOST_SPEED, shownFrames, type TakeStart } from '../../../src/join/pace/take-start.js';
import { jobs, startJob } from '../api.js';

/** Pictures of the take in the row: as many as can be told apart at a glance. */
const PICTURES = 12;

/** A take's start as the page has it, for a component that stands for one join. */
export type TakeStartState = ReturnType<typeof createTakeStart>;

/**
 * Follows the join: a recipe that begins elsewhere is what is chosen from then on.
 *
 * @param code of the refusal that is shown here
 */
export function createTakeStart(
  props: { readonly pick: PickDocument; readonly join: JoinDocument },
  code = 'PW-JOIN-START',
) {
  /** First and last frame of the take's span, and those of it that the join shows (fractional between two). */
  const span = () => props.join.recipe.take,
    last = () => span().out - 1,
    shown = () => shownFrames(props.join.recipe) ?? [span().in, last()];
  /** What a hand chose before; undefined: nothing. */
  const kept = (): TakeStart | undefined => {
    const pace = props.join.recipe.steps.find((s) => s.step === 'pace');
    return pace?.step === 'pace' ? pace.start : undefined;
  };
  const now = () => Math.round(shown()[0]);
  // What is chosen and not yet asked for; null: as the recipe has it.
  const [chosen, setChosen] = createSignal<number | null>(null);
  const [speed, setSpeed] = createSignal<string | null>(null);
  const frame = () => Math.min(last(), Math.max(span().in, chosen() ?? now())),
    pace = () => speed() ?? (kept()?.speed === undefined ? '' : String(kept()!.speed)),
    asked = () => pace().trim().replace(',', '.'),
    wrong = () => asked() !== '' && !(Number(asked()) >= LEAST_SPEED && Number(asked()) <= MOST_SPEED),
    changed = () => frame() !== now() || asked() !== String(kept()?.speed ?? '');
  const pictures = createMemo(() => {
    const many = Math.min(PICTURES, span().out - span().in);
    return Array.from({ length: many }, (_, i) =>
      Math.round(span().in + (i * (last() - span().in)) / Math.max(1, many - 1)),
    );
  });
  const nearest = () =>
    pictures().reduce((a, b) => (Math.abs(b - frame()) < Math.abs(a - frame()) ? b : a), pictures()[0]!);
  const job = () => jobs().find((j) => j.kind === 'join' && j.subject === props.pick.id),
    busy = () => job()?.state === 'waiting' || job()?.state === 'running',
    refused = () => (job()?.state === 'failed' && job()!.error?.includes(code) ? job()!.error : null);
  // What was asked for last, as it stood in the fields.
  let sent: { readonly chosen: number | null; readonly speed: string | null } = { chosen: null, speed: null };
  /** Asks for a recipe with such a start; null: as the program proposes. */
  const ask = (start: TakeStart | null): void => {
    sent = { chosen: chosen(), speed: speed() };
    const fine = props.join.recipe.steps.some((s) => s.step === 'peel' && s.quality === 'fine');
    void startJob('join', props.pick.id, {
      take: props.join.take,
      quality: fine ? 'fine' : 'fast',
      hand: 'keep',
      recipeOnly: true,
      start,
    });
  };
  // A recipe that begins elsewhere (proposed anew, an undo) is what is shown from then on; what was typed since stays.
  createEffect(
    on(
      () => `${now()} ${kept()?.frame} ${kept()?.speed}`,
      () => {
        if (chosen() === sent.chosen) setChosen(null);
        if (speed() === sent.speed) setSpeed(null);
      },
      { defer: true },
    ),
  );
  const begin = (): void =>
    ask({
      // A speed alone leaves the first frame to the program, unless a hand chose it before.
      ...(frame() === now() && kept()?.frame === undefined ? {} : { frame: frame() }),
      ...(asked() === '' ? {} : { speed: Number(asked()) }),
    });
  const choices = { frame, setChosen, pace, setSpeed, wrong, changed };
  return { span, last, shown, kept, pictures, nearest, busy, refused, ask, begin, ...choices };
}
