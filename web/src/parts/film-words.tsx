/** Adding a film, what is written of it (title, who made it, by what right it is used), and where it has gone. */
import { createSignal, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { FilmDocument } from '../../../src/book/documents.js';
import { edit, removeFilm, uploadFilm } from '../api.js';
import { FileButton } from './file-button.js';
import { followBook } from './typed-field.js';
import { whileSending } from './while-sending.js';

const KINDS = 'video/*,.mkv,.mxf,.mts,.m2ts,.ts,.vob,.avi';

/** Sends a film, or the missing file of one. */
export function FilmUpload(props: { first: boolean }): JSX.Element {
  const [share, setShare] = createSignal<number | null>(null);
  const send = async (files: FileList | null): Promise<void> => {
    for (const f of files ?? []) {
      setShare(0);
      await whileSending(() => uploadFilm(f, setShare));
    }
    setShare(null);
  };
  return (
    <section>
      <Show when={props.first}>
        <p class="lead">No film yet. Add the film that the story borrows from; its shots are found at once.</p>
      </Show>
      <p class="controls">
        <FileButton label={props.first ? 'Add the film' : 'Add another film'} accept={KINDS} onFiles={send} />
        <Show
          when={share() !== null}
          fallback={
            <span class="pencil-note">
              a copy is kept in the production’s folder; <code>platewright film add FILE</code> adds a large film where
              it lies, without a copy
            </span>
          }
        >
          <progress max={1} value={share()!} aria-label="sending the film" />{' '}
          <span class="pencil-note">{share()! < 1 ? `sending, ${Math.round(100 * share()!)} %` : 'looking at it'}</span>
        </Show>
      </p>
    </section>
  );
}

/** A film that is not where the book has it: how it is told where it lies, or sent again. */
function MissingFilm(props: { film: FilmDocument }): JSX.Element {
  const [share, setShare] = createSignal<number | null>(null);
  const send = async (files: FileList | null): Promise<void> => {
    const f = files?.[0];
    if (f === undefined) return;
    setShare(0);
    await whileSending(() => uploadFilm(f, setShare, props.film.id));
    setShare(null);
  };
  return (
    <div class="missing" role="status">
      <h4>The film is not where it was</h4>
      <p>
        The book has it at {props.film.file}. Put it back there; or say where it lies now with{' '}
        <code>platewright film relink {props.film.id} FILE</code>; or send it again, and a copy is kept in the
        production’s folder. Picks, marks and joins stay as they are.
      </p>
      <p class="controls">
        <FileButton label="Send the film again" accept={KINDS} onFiles={send} />
        <Show when={share() !== null}>
          <progress max={1} value={share()!} aria-label="sending the film" />
        </Show>
      </p>
    </div>
  );
}

export function FilmWords(props: { book: BookState; film: FilmDocument }): JSX.Element {
  const put = (fields: Partial<FilmDocument>): void =>
    void edit(`words about ${props.film.title}`, [{ do: 'change', kind: 'film', id: props.film.id, fields }]);
  const used = () => props.book.picks.some((p) => p.film === props.film.id);
  return (
    <>
      <Show when={props.book.missing.films.includes(props.film.id)}>
        <MissingFilm film={props.film} />
      </Show>
      <details class="pick-words">
        <summary>Title, credit, licence</summary>
        <p class="controls">
          <label>
            title{' '}
            <input
              type="text"
              size="28"
              ref={(el) => followBook(el, () => props.film.title)}
              onChange={(e) => {
                const t = e.currentTarget.value.trim();
                if (t !== '') put({ title: t });
              }}
            />
          </label>
          <label>
            who made it{' '}
            <input
              type="text"
              size="28"
              ref={(el) => followBook(el, () => props.film.credit)}
              onChange={(e) => put({ credit: e.currentTarget.value.trim() })}
            />
          </label>
          <label>
            licence or exception it is used under{' '}
            <input
              type="text"
              size="28"
              ref={(el) => followBook(el, () => props.film.licence)}
              onChange={(e) => put({ licence: e.currentTarget.value.trim() })}
            />
          </label>
        </p>
        <p class="controls">
          <button disabled={used()} onClick={() => void removeFilm(props.film.id)}>
            Take the film out of the book
          </button>
          <span class="pencil-note">
            {used()
              ? 'picks stand on it: take them out of the story first'
              : 'the file is not touched; “Take back” brings it back'}
          </span>
        </p>
      </details>
    </>
  );
}
