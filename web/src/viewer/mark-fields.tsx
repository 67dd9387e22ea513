/** The mark that is chosen: what it is, its numbers to be changed, the way to its frame and the way out. */
import { For, Show, type JSX } from 'solid-js';
import type { Mark } from '../../../src/plate/marks.js';

interface Field { readonly key: string; readonly label: string; readonly optional?: boolean; readonly min?: number; readonly max?: number }

const HEIGHT: Field = { key: 'height', label: 'height, m', optional: true, min: 0.001 };

/** Numbers of a mark that are no points. */
export function fieldsOf(kind: Mark['kind']): readonly Field[] {
  switch (kind) {
    case 'upright': case 'shadow': case 'stand': case 'performer': case 'carry': return [HEIGHT];
    case 'receiver': return [{ key: 'height', label: 'height over the ground, m', optional: true }];
    case 'rectangle': return [{ key: 'width', label: 'width, m', optional: true, min: 0.001 }, { key: 'depth', label: 'depth or height, m', optional: true, min: 0.001 }];
    case 'head': return [{ key: 'yawDeg', label: 'yaw, °', optional: true }];
    case 'pose': return [{ key: 'yawDeg', label: 'yaw, °' }];
    case 'patch': return [{ key: 'offsetFrames', label: 'frames later', optional: true }];
    case 'reflector': return [{ key: 'roughness', label: 'roughness 0 to 1', optional: true, min: 0, max: 1 }, { key: 'share', label: 'share mirrored 0 to 1', optional: true, min: 0, max: 1 }];
    case 'widen': return (['left', 'right', 'top', 'bottom'] as const).map((key) => ({ key, label: `${key}, px`, optional: true, min: 0 }));
    default: return [];
  }
}

/** The mark with one number changed; an empty text takes it away where it may be left out. Null where the text is no such number. */
export function withField(mark: Mark, field: Field, text: string): Mark | null {
  const { [field.key]: _old, ...rest } = mark as unknown as Record<string, unknown>;
  if (text.trim() === '') return field.optional === true ? (rest as unknown as Mark) : null;
  const v = Number(text.replace(',', '.'));
  if (!Number.isFinite(v) || v < (field.min ?? -Infinity) || v > (field.max ?? Infinity)) return null;
  return { ...rest, [field.key]: field.key === 'offsetFrames' ? Math.round(v) : v } as unknown as Mark;
}

export function MarkFields(props: { mark: Mark; frame: number; onGo: () => void; onChange: (mark: Mark) => void; onRemove: () => void }): JSX.Element {
  return (
    <div class="chosen" role="group" aria-label="The chosen mark">
      <strong>{props.mark.kind === 'groundLines' ? 'ground lines' : props.mark.kind}</strong> <span class="number">frame {props.frame}</span>
      <For each={fieldsOf(props.mark.kind)}>{(f) => (
        <label>{f.label} <input type="text" inputmode="decimal" size="6" value={String((props.mark as unknown as Record<string, number | undefined>)[f.key] ?? '')}
          onChange={(e) => { const m = withField(props.mark, f, e.currentTarget.value); e.currentTarget.setAttribute('aria-invalid', String(m === null)); if (m !== null) props.onChange(m); }} /></label>
      )}</For>
      <Show when={props.mark.kind !== 'pose' && props.mark.kind !== 'widen'}><span class="hint">drag its points</span></Show>
      <button onClick={props.onGo}>Go there</button> <button onClick={props.onRemove}>Remove (Del)</button>
    </div>
  );
}
