/** What is written of a pick: its name, span, what the performer does, a note; and the way out of the story. */
import { createSignal, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { PickDocument } from '../../../src/book/documents.js';
import { respanPick } from '../../../src/book/respan.js';
import { book, edit } from '../api.js';
import type { Changes } from '../edit-queue.js';
import { here } from '../route.js';
import { followBook } from './typed-field.js';

/** What is to be done so that a pick is in the story no more: its takes stay in the book, for no pick. */
function withoutPick({ takes, cut }: BookState, id: string): Changes {
  return [
    ...(['pick', 'measures', 'brief', 'join'] as const).map((kind) => ({ do: 'remove' as const, kind, id })),
    ...takes
      .filter((t) => t.pick === id)
      .map((t) => ({ do: 'change' as const, kind: 'take', id: t.id, fields: { pick: null } })),
    ...(cut === null
      ? []
      : [
          {
            do: 'change' as const,
            kind: 'cut',
            id: 'cut',
            fields: { entries: cut.entries.filter((e) => e.kind !== 'pick' || e.pick !== id) },
          },
        ]),
  ];
}

/** Changes fields of a pick, as one edit. */
function putPick(pick: PickDocument, title: string, fields: Partial<PickDocument>): void {
  void edit(title, [{ do: 'change', kind: 'pick', id: pick.id, fields }]);
}

/**
 * What the pick is called, and from which to which frame of the film it goes; marks that fall outside go, which the
 * edit says.
 */
function NameAndSpan(props: { book: BookState; pick: PickDocument }): JSX.Element {
  const count = () => props.book.films.find((f) => f.id === props.pick.film)?.info.video?.frameCount ?? props.pick.out;
  const [wrong, setWrong] = createSignal('');
  /** One end elsewhere; the other is where the book has it by then, as it may just have been moved too. */
  const span = (end: { readonly in: number } | { readonly out: number }): void => {
    const asked = () => ({ in: props.pick.in, out: props.pick.out, ...end });
    const holds = (s: { readonly in: number; readonly out: number }): boolean =>
      Number.isInteger(s.in) && Number.isInteger(s.out) && s.in >= 0 && s.out > s.in && s.out <= count();
    const now = asked();
    setWrong(
      holds(now) ? '' : `a span lies between frames 0 and ${count() - 1} of the film and holds one frame or more`,
    );
    if (!holds(now)) return;
    const { lost } = respanPick(props.pick, now.in, now.out);
    void edit(
      `${props.pick.title}: frames ${now.in} to ${now.out - 1}${lost === 0 ? '' : `; ${lost} marks outside them went`}`,
      () => {
        const s = asked();
        return holds(s)
          ? [{ do: 'change', kind: 'pick', id: props.pick.id, fields: respanPick(props.pick, s.in, s.out).fields }]
          : null;
      },
    );
  };
  return (
    <>
      <p class="controls">
        <label>
          name{' '}
          <input
            type="text"
            size="28"
            ref={(el) => followBook(el, () => props.pick.title)}
            onChange={(e) => {
              const t = e.currentTarget.value.trim();
              if (t !== '') putPick(props.pick, `rename ${props.pick.title}`, { title: t });
            }}
          />
        </label>
        <label>
          first frame of the film{' '}
          <input
            type="number"
            min="0"
            max={count() - 1}
            ref={(el) => followBook(el, () => props.pick.in)}
            onChange={(e) => span({ in: Number(e.currentTarget.value) })}
          />
        </label>
        <label>
          last frame{' '}
          <input
            type="number"
            min="0"
            max={count() - 1}
            ref={(el) => followBook(el, () => props.pick.out - 1)}
            onChange={(e) => span({ out: Number(e.currentTarget.value) + 1 })}
          />
        </label>
      </p>
      <Show when={wrong() !== ''}>
        <p role="alert">{wrong()}</p>
      </Show>
    </>
  );
}

export function PickWords(props: { book: BookState; pick: PickDocument }): JSX.Element {
  const put = (title: string, fields: Partial<PickDocument>): void => putPick(props.pick, title, fields);
  const remove = (): void =>
    void edit(`take ${props.pick.title} out of the story`, () => withoutPick(book()!, props.pick.id)).then(() => {
      // Who has gone elsewhere meanwhile stays there.
      if (here().page === 'sheet' && !book()!.picks.some((p) => p.id === (here() as { id: string }).id))
        location.hash = '#/wall';
    });
  return (
    <details class="pick-words">
      <summary>Name, span, action</summary>
      <NameAndSpan book={props.book} pick={props.pick} />
      <p class="controls">
        <label>
          what the performer does{' '}
          <input
            type="text"
            size="48"
            ref={(el) => followBook(el, () => props.pick.action)}
            onChange={(e) => put(`action of ${props.pick.title}`, { action: e.currentTarget.value.trim() })}
          />
        </label>
      </p>
      <p class="controls">
        <label>
          note{' '}
          <input
            type="text"
            size="48"
            ref={(el) => followBook(el, () => props.pick.note)}
            onChange={(e) => put(`note on ${props.pick.title}`, { note: e.currentTarget.value.trim() })}
          />
        </label>
      </p>
      <p class="controls">
        <button onClick={remove}>Take it out of the story</button>{' '}
        <span class="pencil-note">its takes stay in the book; “Take back” brings it back whole</span>
      </p>
    </details>
  );
}
