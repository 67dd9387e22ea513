/** The layers of a drawing, each with its picture and how far from the plate's camera it is. */
import { createMemo, For, type JSX } from 'solid-js';
import type { TakeDocument } from '../../../src/book/documents.js';
import type { Mark } from '../../../src/plate/marks/marks.js';
import { edit, frameUrl } from '../api.js';
import { followBook } from './typed-field.js';

type Layer = Extract<Mark, { kind: 'layer' }>;
const UNITS = [
  { key: 'distance', label: 'm away' },
  { key: 'share', label: '× the stand mark’s distance' },
] as const;
type Unit = (typeof UNITS)[number]['key'];

export function LayerList(props: { take: TakeDocument }): JSX.Element {
  const count = () => props.take.info.video!.frameCount;
  const marks = () => props.take.marks ?? { frame: 0, marks: [] };
  const layer = (n: number): Layer | undefined =>
    marks().marks.find((m): m is Layer => m.kind === 'layer' && m.frame === n);
  const told = (n: number): string => String(layer(n)?.[unitOf(n)] ?? '');
  const unitOf = (n: number): Unit => (layer(n)?.share !== undefined ? 'share' : 'distance');
  /** Another number or another unit; the other of the two stays as it is in the book by then. */
  const put = (n: number, asked: { readonly unit: Unit } | { readonly text: string }): void =>
    // Without a number it stays where its foot is marked, if it is.
    void edit(`distance of layer ${n + 1}`, () => {
      const unit = 'unit' in asked ? asked.unit : unitOf(n);
      const text = 'text' in asked ? asked.text : told(n);
      const v = Number(text.replace(',', '.'));
      const foot = layer(n)?.foot;
      const mine: Layer = {
        kind: 'layer',
        frame: n,
        ...(text.trim() !== '' && v > 0 ? { [unit]: v } : foot === undefined ? {} : { foot }),
      };
      const rest = marks().marks.filter((m) => !(m.kind === 'layer' && m.frame === n));
      return [
        { do: 'change', kind: 'take', id: props.take.id, fields: { marks: { ...marks(), marks: [...rest, mine] } } },
      ];
    });
  return (
    <div class="layers">
      <p class="pencil-note">
        Distances along the camera’s line of sight; a camera that stands still or only turns needs none.
      </p>
      <ol>
        <For each={Array.from({ length: count() }, (_, i) => i)}>
          {(n) => {
            // Asked anew at every change of the book, but written into the field only when
            // it is another: a hand may be typing there.
            const said = createMemo(() => told(n));
            return (
              <li>
                <img src={frameUrl('take', props.take.id, n, 160)} alt={`layer ${n + 1}`} />
                <label>
                  layer {n + 1}{' '}
                  <input
                    type="text"
                    inputmode="decimal"
                    size="9"
                    placeholder={layer(n)?.foot === undefined ? '' : 'on the ground'}
                    ref={(el) => followBook(el, said)}
                    onChange={(e) => put(n, { text: e.currentTarget.value })}
                  />
                </label>
                <select
                  aria-label={`unit of layer ${n + 1}`}
                  value={unitOf(n)}
                  onChange={(e) => put(n, { unit: e.currentTarget.value as Unit })}
                >
                  <For each={UNITS}>
                    {(u) => (
                      <option value={u.key} selected={u.key === unitOf(n)}>
                        {u.label}
                      </option>
                    )}
                  </For>
                </select>
              </li>
            );
          }}
        </For>
      </ol>
    </div>
  );
}
