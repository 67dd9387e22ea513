/** The recipe's steps in their order: on or off, seen alone, before and after, with the few numbers that each takes. */
import { createEffect, createSignal, For, Index, onCleanup, Show, type JSX } from 'solid-js';
import type { JoinDocument, PickDocument } from '../../../src/book/documents.js';
import { keepShadow } from '../../../src/join/keep-shadow.js';
import { stepNumber, withStepNumber } from '../../../src/join/step-numbers.js';
import type { PeelStep, RecipeStep } from '../../../src/join/types.js';
import { edit } from '../api.js';

/** Numbers of a step that a person may turn, with their span. */
const KNOBS: Readonly<Record<string, readonly { readonly key: string; readonly label: string; readonly min: number; readonly max: number; readonly step: number }[]>> = {
  peel: [{ key: 'spill', label: 'spill removed', min: 0, max: 1, step: 0.01 }],
  ground: [
    { key: 'azimuthDeg', label: 'light azimuth, °', min: -180, max: 180, step: 1 }, { key: 'elevationDeg', label: 'light elevation, °', min: 3, max: 88, step: 1 },
    { key: 'softnessDeg', label: 'softness, °', min: 0, max: 30, step: 0.1 }, { key: 'contactStrength', label: 'contact', min: 0, max: 1, step: 0.01 }],
  ride: [{ key: 'motionBlur', label: 'shutter, °', min: 0, max: 360, step: 1 }, { key: 'stir.amplitudePx', label: 'stir, take px', min: 0, max: 20, step: 0.1 }, { key: 'stir.rateHz', label: 'stir, Hz', min: 0, max: 6, step: 0.05 }],
  light: [{ key: 'exposureStops', label: 'exposure, stops', min: -3, max: 3, step: 0.05 }, { key: 'warmthStops', label: 'red over blue, stops', min: -2, max: 2, step: 0.05 }, { key: 'saturation', label: 'saturation', min: 0, max: 2, step: 0.01 }, { key: 'relight.strength', label: 'turn of the key', min: 0, max: 1, step: 0.01 }],
  front: [{ key: 'softPx', label: 'edge softness, px', min: 0, max: 8, step: 0.1 }],
  air: [{ key: 'softenPx', label: 'soften, px', min: 0, max: 6, step: 0.05 }, { key: 'wrap', label: 'light wrap', min: 0, max: 1, step: 0.01 }, { key: 'grain', label: 'grain', min: 0, max: 2, step: 0.01 }],
};

export function StepList(props: { pick: PickDocument; join: JoinDocument; ratio: number }): JSX.Element {
  const frames = () => props.pick.out - props.pick.in;
  const [frame, setFrame] = createSignal(Math.floor(frames() / 2));
  const [seen, setSeen] = createSignal<{ step?: string; alone?: boolean } >({});
  const [draft, setDraft] = createSignal<Record<string, number>>({});
  const version = () => JSON.stringify(props.join.recipe.steps).length + ':' + hash(JSON.stringify(props.join.recipe.steps));
  const put = (title: string, steps: RecipeStep[]): void => void edit(title, [{ do: 'change', kind: 'join', id: props.join.id, fields: { recipe: { ...props.join.recipe, steps } } }]);
  // While a slider moves small pictures follow it; when the hand rests the picture is made again at full width.
  const [moving, setMoving] = createSignal(false);
  let rest: ReturnType<typeof setTimeout> | undefined;
  const touch = (): void => { setMoving(true); clearTimeout(rest); rest = setTimeout(() => setMoving(false), 250); };
  // A number goes into the book when the hand has rested on it or leaves it: one edit for one turning of the knob.
  let pending: { readonly step: number; readonly title: string; readonly key: string; readonly value: number } | null = null;
  let keeping: ReturnType<typeof setTimeout> | undefined;
  const keep = (): void => {
    clearTimeout(keeping);
    const p = pending;
    pending = null;
    if (p === null) return;
    put(p.title, props.join.recipe.steps.map((x, n) => (n === p.step ? withStepNumber(x, p.key, p.value) : x)));
  };
  const turn = (at: number, step: string, k: { readonly key: string; readonly label: string }, value: number): void => {
    if (pending !== null && (pending.step !== at || pending.key !== k.key)) keep();
    pending = { step: at, title: `${step}: ${k.label} ${value}`, key: k.key, value };
    // First the size, then the number: else the first picture asked for is a large one.
    touch();
    setDraft({ ...draft(), [`${step}.${k.key}`]: value });
    clearTimeout(keeping);
    keeping = setTimeout(keep, 700);
  };
  onCleanup(keep);
  // What is in the book needs no draft any more.
  createEffect(() => {
    const left = Object.fromEntries(Object.entries(draft()).filter(([name, v]) => { const [step, ...key] = name.split('.'), s = props.join.recipe.steps.find((x) => x.step === step); return Math.abs((s === undefined ? NaN : stepNumber(s, key.join('.')) ?? NaN) - v) > 1e-6; }));
    if (Object.keys(left).length !== Object.keys(draft()).length) setDraft(left);
  });
  const tried = () => Object.entries(draft()).map(([k, v]) => `${k}:${v}`).join(',');
  const wanted = () => `/api/preview/${encodeURIComponent(props.pick.id)}/${frame()}?w=${moving() ? 640 : 1280}&v=${version()}${tried() === '' ? '' : `&set=${encodeURIComponent(tried())}`}${seen().step === undefined ? '' : seen().alone ? `&step=${seen().step}&alone=1` : `&upTo=${seen().step}`}`;
  // One picture is asked for at a time; what was passed over meanwhile is left out.
  const [url, setUrl] = createSignal('');
  const [waiting, setWaiting] = createSignal(false);
  createEffect(() => { const w = wanted(); if (!waiting() && w !== url()) { setWaiting(true); setUrl(w); } });
  return (
    <div class="steps">
      <figure class="mat wide">
        <div class="picture" style={{ 'aspect-ratio': String(props.ratio) }}><img src={url()} onLoad={() => setWaiting(false)} onError={() => setWaiting(false)} alt={`frame ${frame()} of the join as the recipe stands`} /></div>
        <figcaption>
          <label>frame <input type="range" min="0" max={frames() - 1} value={frame()} onChange={(e) => setFrame(Number(e.currentTarget.value))} /> {frame()}</label>
          <span class="pencil-note">{seen().step === undefined ? 'the whole recipe' : seen().alone ? `${seen().step} alone` : `up to ${seen().step}`}</span>
          <Show when={seen().step !== undefined}><button onClick={() => setSeen({})}>Whole recipe</button></Show>
        </figcaption>
      </figure>
      <ol>
        <Index each={props.join.recipe.steps}>{(s, i) => (
          <li class="step" data-on={s().on}>
            <div class="step-head">
              <label><input type="checkbox" checked={s().on} onChange={(e) => put(`${e.currentTarget.checked ? 'switch on' : 'switch off'} ${s().step}`, props.join.recipe.steps.map((x, k) => (k === i ? { ...x, on: e.currentTarget.checked } : x)))} /> <strong>{s().step}</strong></label>
              <button onClick={() => setSeen({ step: s().step, alone: true })}>alone</button>
              <button onClick={() => setSeen({ step: s().step })}>up to here</button>
            </div>
            <p class="how">{s().why}</p>
            <Show when={keeps(s())}>{(p) => <label class="knob">shadow on the screen kept <input type="checkbox" checked={p().keepShadow === true} onChange={(e) => put(e.currentTarget.checked ? 'keep the take’s own shadow' : 'drop the take’s own shadow', keepShadow(props.join.recipe.steps, e.currentTarget.checked))} /></label>}</Show>
            <For each={(KNOBS[s().step] ?? []).filter((k) => !k.key.includes('.') || stepNumber(s(), k.key) !== undefined)}>{(k) => {
              const value = () => draft()[`${s().step}.${k.key}`] ?? stepNumber(s(), k.key) ?? 0;
              return (
                <label class="knob">{k.label}
                  <input type="range" min={k.min} max={k.max} step={k.step} value={value()} onInput={(e) => turn(i, s().step, k, Number(e.currentTarget.value))} onBlur={keep} />
                  <output>{Number(value().toFixed(2))}</output>
                </label>
              );
            }}</For>
          </li>
        )}</Index>
      </ol>
    </div>
  );
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
