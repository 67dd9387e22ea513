/** A film's shots, to be skimmed and picked. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import type { FilmDocument, PickDocument } from '../../../src/book/documents.js';
import { nameAmong } from '../../../src/book/titles.js';
import type { BookState } from '../../../src/server/api-types.js';
import { book as now, edit, jobs, startJob } from '../api.js';
import { seconds, wellSet } from '../format.js';
import { FilmWords } from './film-words.js';
import { Picture } from './picture.js';

type ShotSummary = NonNullable<FilmDocument['summaries']>[number];

/** A name that no other pick has: with several films the film's is part of it. @param number of the shot, from 1 */
function titleOfPick(book: BookState, film: FilmDocument, number: number): string {
  const plain = book.films.length > 1 ? `${nameAmong(book.films, film)}, shot ${number}` : `Shot ${number}`;
  const taken = new Set(book.picks.map((p) => p.title));
  let name = plain;
  for (let n = 2; taken.has(name); n++) name = `${plain} (${n})`;
  return name;
}

function pickShot(film: FilmDocument, shot: ShotSummary): void {
  const number = shot.index + 1;
  const title = titleOfPick(now()!, film, number);
  void edit(`pick ${title}`, () => {
    // As the book is by then: of two quick presses the second does not write over the first one's pick.
    const book = now()!;
    const taken = new Set(book.picks.map((p) => p.id));
    let id = `shot-${number}`;
    for (let n = 2; taken.has(id); n++) id = `shot-${number}-${n}`;
    const order = book.picks.reduce((m, p) => Math.max(m, p.order), 0) + 1;
    return [
      {
        do: 'put',
        kind: 'pick',
        document: {
          id,
          film: film.id,
          title: titleOfPick(book, film, number),
          in: shot.in,
          out: shot.out,
          order,
          note: '',
          marks: { frame: 0, marks: [] },
          action: '',
        },
      },
    ];
  });
}

/** A film's section of the wall. */
export function FilmShots(props: { book: BookState; film: FilmDocument }): JSX.Element {
  const [easyFirst, setEasyFirst] = createSignal(false);
  const shots = () => {
    const list = [...(props.film.summaries ?? [])];
    return easyFirst() ? list.sort((a, b) => a.effortMinutes - b.effortMinutes) : list;
  };
  const picksIn = (from: number, to: number): readonly PickDocument[] =>
    props.book.picks.filter((p) => p.film === props.film.id && p.in < to && p.out > from);
  const scanning = () =>
    jobs().some(
      (j) => j.kind === 'scan' && j.subject === props.film.id && (j.state === 'running' || j.state === 'waiting'),
    );
  const v = props.film.info.video!;
  return (
    <section>
      <h2>{nameAmong(props.book.films, props.film)}</h2>
      <p class="pencil-note">
        {v.frameCount} {v.frameCount === 1 ? 'frame' : 'frames'} · {v.widthPx} × {v.heightPx}
        {props.film.credit === '' ? '' : ` · ${props.film.credit}`}
      </p>
      <For each={v.notes}>{(n) => <p class="pencil-note">{n}</p>}</For>
      <FilmWords book={props.book} film={props.film} />
      <Show
        when={props.film.summaries !== undefined}
        fallback={
          <Show
            when={!scanning()}
            fallback={<p class="lead">Its shots are being found; they are put here when that is done.</p>}
          >
            <p class="lead">
              Not scanned yet. <button onClick={() => void startJob('scan', props.film.id)}>Find its shots</button>
            </p>
          </Show>
        }
      >
        <p class="controls">
          <label>
            <input type="checkbox" checked={easyFirst()} onChange={(e) => setEasyFirst(e.currentTarget.checked)} />{' '}
            least effort first
          </label>{' '}
          <button onClick={() => void startJob('scan', props.film.id, { again: true })}>Scan again</button>
        </p>
        <ul class="shots">
          <For each={shots()}>
            {(s) => (
              <Shot film={props.film} shot={s} picks={picksIn(s.in, s.out)} onPick={() => pickShot(props.film, s)} />
            )}
          </For>
        </ul>
      </Show>
    </section>
  );
}

function Shot(props: {
  film: FilmDocument;
  shot: ShotSummary;
  picks: readonly PickDocument[];
  onPick: () => void;
}): JSX.Element {
  const v = props.film.info.video!;
  const picked = (): boolean => props.picks.length > 0;
  return (
    <li class="shot" data-picked={picked()}>
      <div class="three">
        <For each={props.shot.thumbFrames}>
          {(n) => (
            <Picture
              source={{
                what: 'film',
                id: props.film.id,
                title: `${props.film.title}, shot ${props.shot.index + 1}`,
                in: props.shot.in,
                out: props.shot.out,
              }}
              frame={n}
              width={220}
              alt={`shot ${props.shot.index + 1}, frame ${n}`}
              ratio={v.widthPx / v.heightPx}
            />
          )}
        </For>
      </div>
      <div class="shot-words">
        <h3>
          Shot {props.shot.index + 1}{' '}
          <span class="pencil-note">
            frames {props.shot.in}–{props.shot.out - 1} · {seconds(props.shot.out - props.shot.in, v.rate)}
            {props.shot.entry === 'cut' || props.shot.entry === 'start' ? '' : ` · enters by ${props.shot.entry}`}
          </span>
        </h3>
        <Palette colours={props.shot.palette} />
        <ul class="takes-list">
          <For each={props.shot.takes}>{(t) => <li>{wellSet(t)}</li>}</For>
        </ul>
        <p class="effort">about {Math.round(props.shot.effortMinutes)} min of work</p>
        <Show when={picked()}>
          <PickedAs picks={props.picks} />
        </Show>
        <button onClick={() => props.onPick()}>{picked() ? 'Pick it once more' : 'Pick this shot'}</button>
      </div>
    </li>
  );
}

function Palette(props: { colours: ShotSummary['palette'] }): JSX.Element {
  return (
    <span class="palette" aria-hidden="true">
      <For each={props.colours}>
        {(c) => (
          <i
            style={{
              background: `rgb(${c.coded.map((x) => Math.round(x * 255)).join(',')})`,
              'flex-grow': String(Math.max(0.03, c.share)),
            }}
          />
        )}
      </For>
    </span>
  );
}

function PickedAs(props: { picks: readonly PickDocument[] }): JSX.Element {
  return (
    <span class="pencil-note picked-as">
      picked as{' '}
      <For each={props.picks}>
        {(p, i) => (
          <>
            {i() > 0 ? ', ' : ''}
            <a href={`#/sheet/${encodeURIComponent(p.id)}`}>{p.title}</a>
          </>
        )}
      </For>{' '}
    </span>
  );
}
