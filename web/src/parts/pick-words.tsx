/** What is written of a pick: its name, span, what the performer does, a note; and the way out of the story. */
import { createSignal, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { PickDocument } from '../../../src/book/documents.js';
import { respanPick } from '../../../src/book/respan.js';
import { edit } from '../api.js';
import type { Changes } from '../edit-queue.js';

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

/** What the pick is called, and from which to which frame of the film it goes; marks that fall outside go, which the edit says. */
function NameAndSpan(props: { book: BookState; pick: PickDocument }): JSX.Element {
  const count = () => props.book.films.find((f) => f.id === props.pick.film)?.info.video?.frameCount ?? props.pick.out;
  const [wrong, setWrong] = createSignal('');
  const span = (from: number, to: number): void => {
    if (!Number.isInteger(from) || !Number.isInteger(to) || from < 0 || to <= from || to > count()) {
      setWrong(`a span lies between frames 0 and ${count() - 1} of the film and holds one frame or more`);
      return;
    }
    setWrong('');
    const { fields, lost } = respanPick(props.pick, from, to);
    putPick(
      props.pick,
      `${props.pick.title}: frames ${from} to ${to - 1}${lost === 0 ? '' : `; ${lost} marks outside them went`}`,
      fields,
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
            value={props.pick.title}
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
            value={props.pick.in}
            onChange={(e) => span(Number(e.currentTarget.value), props.pick.out)}
          />
        </label>
        <label>
          last frame{' '}
          <input
            type="number"
            min="0"
            max={count() - 1}
            value={props.pick.out - 1}
            onChange={(e) => span(props.pick.in, Number(e.currentTarget.value) + 1)}
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
    void edit(`take ${props.pick.title} out of the story`, withoutPick(props.book, props.pick.id)).then(() => {
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
            value={props.pick.action}
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
            value={props.pick.note}
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
