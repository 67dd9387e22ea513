/** What a cut has beside its lines of picture: film shots as they are, music, captions, credits and thanks. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import { nameAmong } from '../../../src/book/titles.js';
import type { BookState } from '../../../src/server/api-types.js';
import type { CutDocument } from '../../../src/book/documents.js';
import { edit } from '../api.js';
import { captionLines, readCaptions } from './captions.js';
import { followBook } from './typed-field.js';

/** Adds a shot of a film, untouched: one that the scan found. */
export function FilmLine(props: {
  book: BookState;
  onAdd: (film: string, from: number, to: number) => void;
}): JSX.Element {
  const shots = () =>
    props.book.films.flatMap((f) =>
      (f.cutList?.shots ?? []).map((s, i) => ({
        value: `${f.id} ${s.in} ${s.out}`,
        label: `${nameAmong(props.book.films, f)}, shot ${i + 1} (${s.in}–${s.out - 1})`,
      })),
    );
  const [chosen, setChosen] = createSignal('');
  const add = (): void => {
    const [film, from, to] = (chosen() === '' ? (shots()[0]?.value ?? '') : chosen()).split(' ');
    if (film !== undefined && to !== undefined) props.onAdd(film, Number(from), Number(to));
  };
  return (
    <Show when={shots().length > 0}>
      <p class="controls">
        <label>
          film shot{' '}
          <select
            value={chosen() === '' ? shots()[0]?.value : chosen()}
            onChange={(e) => setChosen(e.currentTarget.value)}
          >
            <For each={shots()}>
              {(s, i) => (
                <option value={s.value} selected={s.value === chosen() || (chosen() === '' && i() === 0)}>
                  {s.label}
                </option>
              )}
            </For>
          </select>
        </label>
        <button onClick={add}>Add it as it is</button>
      </p>
    </Show>
  );
}

/** Rows of a box for a text: all its lines and one to write on, within reason. */
const rows = (text: string): number => Math.min(12, Math.max(2, text.split('\n').length + 1));

/** Music under the whole cut: its file, gain and first frame; none where no file is named. */
function MusicFields(props: { cut: CutDocument }): JSX.Element {
  const music = (fields: Partial<NonNullable<CutDocument['music']>>): void => {
    void edit('music', () => {
      const m = { file: '', gainDb: 0, fromFrame: 0, ...props.cut.music, ...fields };
      return [
        {
          do: 'put',
          kind: 'cut',
          document: { ...props.cut, music: m.file.trim() === '' ? null : { ...m, file: m.file.trim() } },
        },
      ];
    });
  };
  return (
    <p class="controls">
      <label>
        music, a file on this machine{' '}
        <input
          type="text"
          size="36"
          ref={(el) => followBook(el, () => props.cut.music?.file)}
          onChange={(e) => music({ file: e.currentTarget.value })}
        />
      </label>
      <label class="num">
        gain, dB{' '}
        <input
          type="number"
          step="0.5"
          ref={(el) => followBook(el, () => props.cut.music?.gainDb ?? 0)}
          disabled={props.cut.music === null}
          onChange={(e) => music({ gainDb: Number(e.currentTarget.value) || 0 })}
        />
      </label>
      <label class="num">
        from frame{' '}
        <input
          type="number"
          min="0"
          ref={(el) => followBook(el, () => props.cut.music?.fromFrame ?? 0)}
          disabled={props.cut.music === null}
          onChange={(e) => music({ fromFrame: Math.max(0, Math.round(Number(e.currentTarget.value) || 0)) })}
        />
      </label>
    </p>
  );
}

/** A box whose lines count one by one; empty ones are left out. */
function LinesBox(props: { title: string; lines: readonly string[]; onLines: (lines: string[]) => void }): JSX.Element {
  const lines = (text: string): string[] =>
    text
      .split('\n')
      .map((t) => t.trim())
      .filter((t) => t !== '');
  const text = () => props.lines.join('\n');
  return (
    <label class="purpose">
      {props.title}
      <textarea
        rows={rows(text())}
        ref={(el) => followBook(el, text)}
        onChange={(e) => props.onLines(lines(e.currentTarget.value))}
      />
    </label>
  );
}

/** `frames`: of the whole cut; `musicGone`: the file of its music is not there. */
export function CutWords(props: { cut: CutDocument; frames: number; musicGone: boolean }): JSX.Element {
  const late = () => props.cut.captions.filter((c) => c.out > props.frames);
  const put = (title: string, fields: Partial<CutDocument>): void =>
    void edit(title, () => [{ do: 'put', kind: 'cut', document: { ...props.cut, ...fields } }]);
  const [wrong, setWrong] = createSignal('');
  const captions = (text: string): void => {
    const read = readCaptions(text);
    if (typeof read === 'string') {
      setWrong(read);
      return;
    }
    setWrong('');
    put('captions', { captions: read });
  };
  return (
    <section class="cut-words">
      <h2>Music and words</h2>
      <MusicFields cut={props.cut} />
      <Show when={props.musicGone}>
        <p class="refused" role="alert">
          There is no file {props.cut.music?.file}: nothing is delivered until it is there or the field is empty.
        </p>
      </Show>
      <label class="purpose">
        captions, one a line: first frame, last frame, words (48-95 She waits.)
        <textarea
          rows={rows(captionLines(props.cut.captions))}
          ref={(el) => followBook(el, () => captionLines(props.cut.captions))}
          onChange={(e) => captions(e.currentTarget.value)}
        />
      </label>
      <Show when={wrong() !== ''}>
        <p class="refused" role="alert">
          {wrong()}
        </p>
      </Show>
      <Show when={late()[0]}>
        {(c) => (
          <p class="refused" role="status">
            “{c().text}” goes on after the cut ends (its last frame is {props.frames - 1}).
          </p>
        )}
      </Show>
      <LinesBox
        title="credits, one a line"
        lines={props.cut.credits}
        onLines={(credits) => put('credits', { credits })}
      />
      <LinesBox title="thanks, one a line" lines={props.cut.thanks} onLines={(thanks) => put('thanks', { thanks })} />
    </section>
  );
}
