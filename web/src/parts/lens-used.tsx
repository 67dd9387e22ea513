/**
 * Which lens a take was shot with: its focal length in mm, kept in pixels of the take by the
 * studio's sensor. It settles the take's perspective. Left empty, the lens that the take's file tells stands in for it.
 */
import { createMemo, For, type JSX } from 'solid-js';
import type { TakeDocument } from '../../../src/book/documents.js';
import { book, edit } from '../api.js';
import { focalMm, focalPx } from './lens-mm.js';
import { followBook } from './typed-field.js';

export function LensUsed(props: { take: TakeDocument }): JSX.Element {
  const camera = () => book()!.production.camera;
  const video = () => props.take.info.video!;
  const said = createMemo(() => {
    const px = props.take.marks?.focalPx;
    return px === undefined ? '' : String(Number(focalMm(px, camera(), video()).toFixed(2)));
  });
  const byFile = () => video().lens;
  const put = (field: HTMLInputElement): void => {
    const text = field.value.trim();
    const v = Number(text.replace(',', '.'));
    const bad = text !== '' && !(v > 0);
    field.setAttribute('aria-invalid', String(bad));
    if (bad) return;
    void edit(text === '' ? 'lens not known' : `lens ${v} mm`, () => {
      const { focalPx: _before, ...rest } = props.take.marks ?? { frame: 0, marks: [] };
      return [
        {
          do: 'change',
          kind: 'take',
          id: props.take.id,
          fields: {
            marks: text === '' ? rest : { ...rest, focalPx: Number(focalPx(v, camera(), video()).toFixed(1)) },
          },
        },
      ];
    });
  };
  const list = () => `lenses-${props.take.id}`;
  return (
    <label
      title={
        `the true focal length, not the “equivalent” one; the studio's camera is ${camera().name}, ` +
        `whose video uses ${camera().sensorWidthMm} mm of the sensor's width` +
        (byFile() === undefined ? '' : `; left empty, it is what the take's file says: ${byFile()!.said}`)
      }
    >
      lens, mm{' '}
      <input
        type="text"
        inputmode="decimal"
        size="9"
        list={list()}
        placeholder={byFile() === undefined ? 'not known' : 'by the file'}
        ref={(el) => followBook(el, said)}
        onChange={(e) => put(e.currentTarget)}
      />
      <datalist id={list()}>
        <For each={[...new Set(camera().lensesMm.flat())]}>{(mm) => <option value={String(mm)} />}</For>
      </datalist>
    </label>
  );
}
