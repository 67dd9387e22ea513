/**
 * The recipe's steps in their order: on or off, seen alone, before and after, with the few controls that each takes.
 */
import { batch, createEffect, createMemo, createSignal, For, Index, onCleanup, Show, type JSX } from 'solid-js';
import type { JoinDocument, PickDocument } from '../../../src/book/documents.js';
import { keepShadow } from '../../../src/join/keep-shadow.js';
import {
  controlValue,
  STEP_CONTROLS,
  stepLabel,
  widenControls,
  withControlValue,
  type ControlValue,
  type StepControl,
} from '../../../src/join/step-controls.js';
import { stepNumber } from '../../../src/join/step-numbers.js';
import type { PatchStep, PeelStep, RecipeStep } from '../../../src/join/types.js';
import { edit, holdBack } from '../api.js';
import { StepKnob } from '../parts/step-control.js';
import { StepPicture, type Seen } from '../parts/step-picture.js';

/** What each step does, where the recipe's own sentence says only why. */
const DOES: Readonly<Record<string, string>> = {
  erase: 'what goes from the plate',
  widen: 'a larger picture',
  peel: 'the performer off its screen',
  patch: 'a part of another picture',
  pace: 'the take’s speed',
  steady: 'the take’s own shake',
  ride: 'place and movement',
  light: 'exposure, colour, key',
  ground: 'shadows and mirror',
  front: 'what passes in front',
  air: 'softness, haze, grain',
};
const VIEWS = [
  ['alone', 'alone'],
  ['before', 'before'],
  ['after', 'after'],
  ['wipe', 'wipe'],
] as const;
/** Numbers that are tried out on the picture while they move; the others are kept first, and the set-up made anew. */
const TRIED: ReadonlySet<string> = new Set(['ride', 'light', 'ground', 'front', 'air']);

export function StepList(props: { pick: PickDocument; join: JoinDocument; ratio: number }): JSX.Element {
  const frames = () => props.pick.out - props.pick.in;
  const steps = () => props.join.recipe.steps;
  const longest = createMemo(() => Math.max(props.join.recipe.plate.widthPx, props.join.recipe.plate.heightPx));
  // The same controls while the size is the same: made anew they would lose the keyboard.
  const widening = createMemo(() => widenControls(longest()));
  const [frame, setFrame] = createSignal(Math.floor(frames() / 2));
  const [seen, setSeen] = createSignal<Seen | null>(null);
  const [draft, setDraft] = createSignal<Record<string, number>>({});
  const version = () => JSON.stringify(steps()).length + ':' + hash(JSON.stringify(steps()));
  const put = (title: string, change: (steps: readonly RecipeStep[]) => readonly RecipeStep[]): void =>
    void edit(title, () => [
      {
        do: 'change',
        kind: 'join',
        id: props.join.id,
        fields: { recipe: { ...props.join.recipe, steps: change(steps()) } },
      },
    ]);
  const set = (i: number, c: StepControl, value: ControlValue): void => {
    keep();
    put(`${stepLabel(steps(), i)}: ${c.label} ${titled(c, value)}`, (now) =>
      now.map((x, n) => (n === i ? withControlValue(x, c, value) : x)),
    );
  };
  // While a slider moves small pictures follow it; when the hand rests the picture is made again at full width.
  const [moving, setMoving] = createSignal(false);
  let rest: ReturnType<typeof setTimeout> | undefined;
  const touch = (): void => {
    setMoving(true);
    clearTimeout(rest);
    rest = setTimeout(() => setMoving(false), 250);
  };
  // A number goes into the book when the hand has rested on it or leaves it: one edit for one turning of the knob.
  let pending: { readonly step: number; readonly control: StepControl; readonly value: number } | null = null;
  let keeping: ReturnType<typeof setTimeout> | undefined;
  const keep = (): void => {
    clearTimeout(keeping);
    const p = pending;
    pending = null;
    if (p !== null)
      put(`${stepLabel(steps(), p.step)}: ${p.control.label} ${titled(p.control, p.value)}`, (now) =>
        now.map((x, n) => (n === p.step ? withControlValue(x, p.control, p.value) : x)),
      );
  };
  const tries = (s: RecipeStep, c: StepControl): boolean =>
    TRIED.has(s.step) || (s.step === 'peel' && c.key === 'spill');
  const turn = (at: number, s: RecipeStep, control: StepControl, value: number): void => {
    if (pending !== null && (pending.step !== at || pending.control.key !== control.key)) keep();
    pending = { step: at, control, value };
    // Size and number together: else a picture of the old number is asked for first, and the new one waits for it.
    if (tries(s, control))
      batch(() => {
        touch();
        setDraft({ ...draft(), [`${s.step}.${control.key}`]: value });
      });
    clearTimeout(keeping);
    keeping = setTimeout(keep, 700);
  };
  onCleanup(holdBack(keep));
  onCleanup(() => {
    keep();
    clearTimeout(rest);
  });
  // What is in the book needs no draft any more.
  createEffect(() => {
    const left = Object.fromEntries(
      Object.entries(draft()).filter(([name, v]) => {
        const [step, ...key] = name.split('.');
        const s = steps().find((x) => x.step === step);
        return Math.abs((s === undefined ? NaN : (stepNumber(s, key.join('.')) ?? NaN)) - v) > 1e-6;
      }),
    );
    if (Object.keys(left).length !== Object.keys(draft()).length) setDraft(left);
  });
  const tried = () =>
    Object.entries(draft())
      .map(([k, v]) => `${k}:${v}`)
      .join(',');
  const address = (view: string | null): string =>
    `/api/preview/${encodeURIComponent(props.pick.id)}/${frame()}?w=${moving() ? 640 : 1280}&v=${version()}` +
    (tried() === '' ? '' : `&set=${encodeURIComponent(tried())}`) +
    (view === null ? '' : `&step=${seen()?.step ?? ''}&view=${view}`);
  const drag = (n: number): void =>
    batch(() => {
      touch();
      setFrame(n);
    });
  return (
    <div class="steps">
      <StepPicture
        address={address}
        version={version()}
        frame={frame()}
        frames={frames()}
        ratio={props.ratio}
        seen={seen()}
        onFrame={drag}
        onSeen={setSeen}
      />
      <ol>
        <Index each={steps()}>
          {(s, i) => {
            const label = () => stepLabel(steps(), i);
            const asProposed = (key: string) => props.join.proposed?.[`${label()}.${key}`];
            const at = () => {
              const v = seen();
              return v !== null && v.label === label() ? v.as : null;
            };
            return (
              <li class="step" data-on={s().on} aria-label={label()}>
                <div class="step-head">
                  <label class="step-name">
                    <input
                      type="checkbox"
                      aria-label={`${label()} on`}
                      checked={s().on}
                      onChange={(e) => {
                        keep();
                        const on = e.currentTarget.checked;
                        put(`switch ${on ? 'on' : 'off'} ${label()}`, (now) =>
                          now.map((x, k) => (k === i ? { ...x, on } : x)),
                        );
                      }}
                    />{' '}
                    <strong>{label()}</strong>
                  </label>
                  <span class="pencil-note">
                    {DOES[s().step]}
                    {onto(s())}
                  </span>
                  <span class="views" role="group" aria-label={`look at ${label()}`}>
                    <For each={VIEWS}>
                      {([as, words]) => (
                        <button
                          aria-pressed={at() === as}
                          onClick={() => setSeen(at() === as ? null : { step: s().step, label: label(), as })}
                        >
                          {words}
                        </button>
                      )}
                    </For>
                  </span>
                </div>
                <p class="how">
                  {s().why}
                  <Show when={asProposed('on') !== undefined && asProposed('on') !== s().on}>
                    {' '}
                    <em>Proposed {asProposed('on') === true ? 'on' : 'off'}.</em>
                  </Show>
                </p>
                <Show when={keeps(s())}>
                  {(p) => (
                    <label class="knob">
                      <span>its own shadow kept</span>
                      <input
                        type="checkbox"
                        checked={p().keepShadow === true}
                        onChange={(e) => {
                          keep();
                          const on = e.currentTarget.checked;
                          put(on ? 'keep the take’s own shadow' : 'drop the take’s own shadow', (now) =>
                            keepShadow(now, on),
                          );
                        }}
                      />
                    </label>
                  )}
                </Show>
                <For
                  each={(s().step === 'widen' ? widening() : STEP_CONTROLS[s().step]).filter(
                    (c) => controlValue(s(), c) !== undefined,
                  )}
                >
                  {(c) => (
                    <StepKnob
                      control={c}
                      value={draft()[`${s().step}.${c.key}`] ?? controlValue(s(), c) ?? 0}
                      proposed={asProposed(c.key)}
                      onTurn={(v) => turn(i, s(), c, v)}
                      onRest={keep}
                      onPut={(v) => set(i, c, v)}
                    />
                  )}
                </For>
              </li>
            );
          }}
        </Index>
      </ol>
    </div>
  );
}

/** Where a patch goes, as the recipe may hold several. */
function onto(s: RecipeStep): string {
  return s.step !== 'patch'
    ? ''
    : { take: ', onto the take', plate: ', onto the plate', join: ', onto the joined performer' }[
        (s as PatchStep).onto ?? 'take'
      ];
}

function titled(c: StepControl, value: ControlValue): string {
  return c.kind === 'number'
    ? `${Number((value as number).toFixed(2))} ${c.unit}`
    : c.kind === 'flag'
      ? value === true
        ? 'on'
        : 'off'
      : (c.options.find((o) => o.value === value)?.label ?? String(value));
}

/** The peel of a take shot before a screen, whose own shadow can be kept. */
function keeps(s: RecipeStep): PeelStep | null {
  return s.step === 'peel' && s.method === 'screen' ? s : null;
}

function hash(text: string): string {
  let h = 2166136261;
  for (let i = 0; i < text.length; i++) h = Math.imul(h ^ text.charCodeAt(i), 16777619);
  return (h >>> 0).toString(36);
}
