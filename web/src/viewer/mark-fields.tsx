/**
 * The marks as a list to choose from, and the chosen one: its numbers and points to be
 * changed, the way to its frame and the way out.
 */
import { createMemo, createSignal, For, Index, Show, type JSX } from 'solid-js';
import type { Mark } from '../../../src/plate/marks/marks.js';
import { followBook } from '../parts/typed-field.js';
import { markName } from './mark-name.js';
import { handles, withHandle } from './mark-shapes.js';
import { ToneField } from './tone-field.js';

interface Field {
  readonly key: string;
  readonly label: string;
  readonly optional?: boolean;
  readonly min?: number;
  readonly max?: number;
}

const HEIGHT: Field = { key: 'height', label: 'height, m', optional: true, min: 0.001 };

/** Numbers of a mark on a plate or a take that are no points. */
export function fieldsOf(kind: Mark['kind'], on: 'plate' | 'take'): readonly Field[] {
  switch (kind) {
    case 'upright':
    case 'shadow':
    case 'stand':
    case 'performer':
    case 'carry':
      return [HEIGHT];
    case 'receiver':
      return [{ key: 'height', label: 'height over the ground, m', optional: true }];
    case 'rectangle':
      return [
        { key: 'width', label: 'width, m', optional: true, min: 0.001 },
        { key: 'depth', label: 'depth or height, m', optional: true, min: 0.001 },
      ];
    case 'head':
      return [{ key: 'yawDeg', label: 'yaw, °', optional: true }];
    case 'body':
      return [{ key: 'soft', label: 'soft edge, px to either side (take)', optional: true, min: 0.5 }];
    case 'pose':
      return [{ key: 'yawDeg', label: 'yaw, °' }];
    case 'patch':
      return on === 'take'
        ? []
        : [{ key: 'offsetFrames', label: 'frames later (empty: for “with a part of”)', optional: true }];
    case 'tone':
      return [
        { key: 'reflects', label: 'share of light thrown back, 0.02 to 1', min: 0.02, max: 1 },
        { key: 'sdStops', label: 'give or take, stops', optional: true, min: 0.01, max: 2 },
      ];
    case 'reflector':
      return [
        { key: 'roughness', label: 'roughness 0 to 1', optional: true, min: 0, max: 1 },
        { key: 'share', label: 'share mirrored 0 to 1', optional: true, min: 0, max: 1 },
      ];
    case 'widen':
      return (['left', 'right', 'top', 'bottom'] as const).map((key) => ({
        key,
        label: `${key}, px`,
        optional: true,
        min: 0,
      }));
    default:
      return [];
  }
}

/**
 * The mark with one number changed; an empty text takes it away where it may be left
 * out. Null where the text is no such number.
 */
function withField(mark: Mark, field: Field, text: string): Mark | null {
  const { [field.key]: _old, ...rest } = mark as unknown as Record<string, unknown>;
  if (text.trim() === '') return field.optional === true ? (rest as unknown as Mark) : null;
  const v = Number(text.replace(',', '.'));
  if (!Number.isFinite(v) || v < (field.min ?? -Infinity) || v > (field.max ?? Infinity)) return null;
  return { ...rest, [field.key]: field.key === 'offsetFrames' ? Math.round(v) : v } as unknown as Mark;
}

/** Outlines that several frames may have of one thing, with as many points each: drawn once, then moved. */
function isCarried(m: Mark): boolean {
  return (
    m.kind === 'front' ||
    m.kind === 'erase' ||
    m.kind === 'shade' ||
    m.kind === 'carry' ||
    m.kind === 'patch' ||
    (m.kind === 'body' && m.polygon !== undefined)
  );
}

/** The marks of a file as a choice: the way to one without pointing at it. */
export function MarkChoice(props: {
  marks: readonly Mark[];
  frameOf: (m: Mark) => number;
  chosen: number | null;
  onChoose: (i: number | null) => void;
}): JSX.Element {
  return (
    <label>
      mark{' '}
      <select
        value={props.chosen === null ? '' : String(props.chosen)}
        onChange={(e) => props.onChoose(e.currentTarget.value === '' ? null : Number(e.currentTarget.value))}
      >
        <option value="">none chosen</option>
        <Index each={props.marks}>
          {(m, i) => (
            <option value={String(i)} selected={i === props.chosen}>
              {i + 1}. {markName(m())}, frame {props.frameOf(m())}
            </option>
          )}
        </Index>
      </select>
    </label>
  );
}

/** Where the points of a mark are, to be typed: one at a time, as an outline may have many. */
function PointFields(props: { mark: Mark; onChange: (title: string, change: (m: Mark) => Mark) => void }): JSX.Element {
  const [at, setAt] = createSignal(0);
  const points = () => handles(props.mark);
  const n = () => Math.min(at(), points().length - 1);
  const p = () => points()[n()]!;
  const put = (axis: 0 | 1, field: HTMLInputElement): void => {
    const v = Number(field.value.trim().replace(',', '.'));
    const bad = field.value.trim() === '' || !Number.isFinite(v);
    field.setAttribute('aria-invalid', String(bad));
    const i = n();
    if (!bad)
      props.onChange(`move mark ${props.mark.kind}`, (m) => {
        const q = handles(m)[i];
        return q === undefined ? m : withHandle(m, i, axis === 0 ? [v, q[1]] : [q[0], v]);
      });
  };
  return (
    <>
      <label>
        point{' '}
        <select value={String(n())} onChange={(e) => setAt(Number(e.currentTarget.value))}>
          <For each={points().map((_, i) => i)}>
            {(i) => (
              <option value={String(i)} selected={i === n()}>
                {i + 1} of {points().length}
              </option>
            )}
          </For>
        </select>
      </label>
      <label>
        x{' '}
        <input
          type="text"
          inputmode="decimal"
          size="6"
          ref={(el) => followBook(el, () => Number(p()[0].toFixed(1)))}
          onChange={(e) => put(0, e.currentTarget)}
        />
      </label>
      <label>
        y{' '}
        <input
          type="text"
          inputmode="decimal"
          size="6"
          ref={(el) => followBook(el, () => Number(p()[1].toFixed(1)))}
          onChange={(e) => put(1, e.currentTarget)}
        />
      </label>
    </>
  );
}

/** Whether a rectangle lies or stands; where it is not said the program guesses, and says so. */
function PlaneField(props: {
  mark: Extract<Mark, { kind: 'rectangle' }>;
  onChange: (title: string, change: (m: Mark) => Mark) => void;
}): JSX.Element {
  return (
    <label>
      it{' '}
      <select
        value={props.mark.plane ?? ''}
        onChange={(e) => {
          const plane = e.currentTarget.value;
          props.onChange('rectangle: lies or stands', (now) => {
            const { plane: _old, ...rest } = now as Extract<Mark, { kind: 'rectangle' }>;
            return plane === 'ground' || plane === 'wall' ? { ...rest, plane } : rest;
          });
        }}
      >
        <For
          each={
            [
              ['', 'lies or stands: guess'],
              ['ground', 'lies on the ground'],
              ['wall', 'stands upright'],
            ] as const
          }
        >
          {([value, words]) => (
            <option value={value} selected={value === (props.mark.plane ?? '')}>
              {words}
            </option>
          )}
        </For>
      </select>
    </label>
  );
}

export function MarkFields(props: {
  mark: Mark;
  on: 'plate' | 'take';
  /** The frame that it is on, and the one in view. */
  own: number;
  frame: number;
  onGo: () => void;
  onCopy: () => void;
  onChange: (title: string, change: (m: Mark) => Mark) => void;
  onRemove: () => void;
}): JSX.Element {
  const kind = createMemo(() => props.mark.kind);
  // The same fields while the kind is the same: made anew they would lose the keyboard.
  const fields = createMemo(() => fieldsOf(kind(), props.on));
  return (
    <div class="of-chosen" role="group" aria-label="The chosen mark">
      <Show when={props.mark.kind === 'tone' ? props.mark : null}>
        {(m) => <ToneField mark={m()} onChange={props.onChange} />}
      </Show>
      <For each={fields()}>
        {(f) => (
          <label>
            {f.label}{' '}
            <input
              type="text"
              inputmode="decimal"
              size="6"
              ref={(el) => followBook(el, () => (props.mark as unknown as Record<string, number | undefined>)[f.key])}
              onChange={(e) => {
                const text = e.currentTarget.value;
                const m = withField(props.mark, f, text);
                e.currentTarget.setAttribute('aria-invalid', String(m === null));
                if (m !== null)
                  props.onChange(`${props.mark.kind}: its numbers`, (now) => withField(now, f, text) ?? now);
              }}
            />
          </label>
        )}
      </For>
      <Show when={props.mark.kind === 'erase' && props.mark.shadow !== true ? props.mark : null}>
        {(m) => (
          <label title="on this frame it is not there: it came later, or has left; the place is then seen bare">
            <input
              type="checkbox"
              checked={m().gone === true}
              onChange={(e) => {
                const gone = e.currentTarget.checked;
                props.onChange('erase: gone or there', (now) => {
                  const { gone: _old, ...rest } = now as Extract<Mark, { kind: 'erase' }>;
                  return gone ? { ...rest, gone } : rest;
                });
              }}
            />{' '}
            gone on this frame
          </label>
        )}
      </Show>
      <Show when={props.mark.kind === 'rectangle' ? props.mark : null}>
        {(m) => <PlaneField mark={m()} onChange={props.onChange} />}
      </Show>
      <Show when={handles(props.mark).length > 0}>
        <PointFields mark={props.mark} onChange={props.onChange} />
      </Show>
      {/* Not disabled on its own frame: a disabled button loses the keyboard. */}
      <button aria-disabled={props.own === props.frame} onClick={props.onGo}>
        Go to frame {props.own}
      </button>{' '}
      <Show when={props.own !== props.frame && isCarried(props.mark)}>
        <button onClick={props.onCopy} title="the same outline on the frame in view, its points to be dragged there">
          Copy it to frame {props.frame}
        </button>{' '}
      </Show>
      <button onClick={props.onRemove}>Remove (Del)</button>
    </div>
  );
}
