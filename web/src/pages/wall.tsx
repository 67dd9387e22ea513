/** The wall: the film's shots to skim, and the picks pinned up in story order. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { FilmDocument, PickDocument } from '../../../src/book/documents.js';
import { book as now, edit, startJob } from '../api.js';
import { seconds, wellSet } from '../format.js';
import { nextStep } from '../next-step.js';
import { ById } from '../parts/by-id.js';
import { FilmUpload, FilmWords } from '../parts/film-words.js';
import { Picture } from '../parts/picture.js';
import { TakeVerdict } from '../parts/verdict-word.js';

/** The takes of a pick in rank: starred first, then by verdict. */
export function ranked(book: BookState, pick: string): BookState['takes'] {
  const weight = { fits: 0, mendable: 1, 'shoot again': 2 } as const;
  return book.takes
    .filter((t) => t.pick === pick)
    .sort(
      (a, b) =>
        Number(b.star) - Number(a.star) ||
        (a.verdict === undefined ? 3 : weight[a.verdict.verdict]) -
          (b.verdict === undefined ? 3 : weight[b.verdict.verdict]),
    );
}

function movePick(pick: PickDocument, by: number): void {
  void edit(`move ${pick.title}`, () => {
    const list = [...(now()?.picks ?? [])];
    const i = list.findIndex((p) => p.id === pick.id);
    const j = i + by;
    if (i < 0 || j < 0 || j >= list.length) return null;
    [list[i], list[j]] = [list[j]!, list[i]!];
    return list.map((p, k) => ({ do: 'change' as const, kind: 'pick', id: p.id, fields: { order: k + 1 } }));
  });
}

export function WallPage(props: { book: BookState }): JSX.Element {
  return (
    <>
      <section>
        <h2>Picks in story order</h2>
        <Show
          when={props.book.picks.length > 0}
          fallback={
            <p class="lead">
              {props.book.films.length === 0
                ? 'A story begins with shots of a film. Those that you pick are pinned up here.'
                : 'No shot is picked yet. Skim the film below and pick what the story can use.'}
            </p>
          }
        >
          <ol class="pins">
            <ById each={props.book.picks}>
              {(p, i) => {
                const film = () => props.book.films.find((f) => f.id === p().film);
                const join = () => props.book.joins.find((j) => j.id === p().id);
                const best = () => ranked(props.book, p().id)[0];
                return (
                  <li class="pin">
                    <Show when={film()}>
                      {(f) => (
                        <Picture
                          source={
                            join()?.render === undefined
                              ? { what: 'plate', id: p().id, title: p().title }
                              : { what: 'join', id: p().id, title: p().title, version: join()!.render!.at }
                          }
                          frame={Math.floor((p().out - p().in) / 2)}
                          width={480}
                          alt={p().title}
                          ratio={f().info.video!.widthPx / f().info.video!.heightPx}
                        />
                      )}
                    </Show>
                    <div class="pin-words">
                      <h3>
                        <a href={`#/sheet/${encodeURIComponent(p().id)}`}>
                          {i() + 1}. {p().title}
                        </a>
                      </h3>
                      <p class="pencil-note">
                        {film() === undefined ? '' : seconds(p().out - p().in, film()!.info.video!.rate)} ·{' '}
                        {props.book.takes.filter((t) => t.pick === p().id).length === 1
                          ? '1 take'
                          : `${props.book.takes.filter((t) => t.pick === p().id).length} takes`}
                        {join()?.render === undefined ? '' : ' · joined'}
                      </p>
                      <Show when={best()?.verdict}>
                        {(v) => (
                          <p>
                            <TakeVerdict verdict={v()} small />
                          </p>
                        )}
                      </Show>
                      <Show when={nextStep(props.book, p())}>
                        {(n) => (
                          <p class="pencil-note">
                            {n().part === 'cut' ? 'done' : 'next'}: {n().words}
                          </p>
                        )}
                      </Show>
                      <span class="order">
                        <button
                          aria-label={`Move ${p().title} earlier`}
                          disabled={i() === 0}
                          onClick={() => movePick(p(), -1)}
                        >
                          Earlier
                        </button>
                        <button
                          aria-label={`Move ${p().title} later`}
                          disabled={i() === props.book.picks.length - 1}
                          onClick={() => movePick(p(), 1)}
                        >
                          Later
                        </button>
                      </span>
                    </div>
                  </li>
                );
              }}
            </ById>
          </ol>
        </Show>
      </section>
      <ById each={props.book.films}>{(f) => <FilmShots book={props.book} film={f()} />}</ById>
      <FilmUpload first={props.book.films.length === 0} />
    </>
  );
}

function FilmShots(props: { book: BookState; film: FilmDocument }): JSX.Element {
  const [easyFirst, setEasyFirst] = createSignal(false);
  const shots = () => {
    const list = [...(props.film.summaries ?? [])];
    return easyFirst() ? list.sort((a, b) => a.effortMinutes - b.effortMinutes) : list;
  };
  const picksIn = (from: number, to: number): readonly PickDocument[] =>
    props.book.picks.filter((p) => p.film === props.film.id && p.in < to && p.out > from);
  const picked = (from: number, to: number): boolean => picksIn(from, to).length > 0;
  /** A name that no other pick has: with several films the film's is part of it. */
  const title = (index: number): string => {
    const plain = props.book.films.length > 1 ? `${props.film.title}, shot ${index}` : `Shot ${index}`;
    const taken = new Set(props.book.picks.map((p) => p.title));
    let name = plain;
    for (let n = 2; taken.has(name); n++) name = `${plain} (${n})`;
    return name;
  };
  const pick = (index: number, from: number, to: number): void => {
    void edit(`pick ${title(index)}`, () => {
      const taken = new Set(props.book.picks.map((p) => p.id));
      let id = `shot-${index}`;
      for (let n = 2; taken.has(id); n++) id = `shot-${index}-${n}`;
      const order = props.book.picks.reduce((m, p) => Math.max(m, p.order), 0) + 1;
      return [
        {
          do: 'put',
          kind: 'pick',
          document: {
            id,
            film: props.film.id,
            title: title(index),
            in: from,
            out: to,
            order,
            note: '',
            marks: { frame: 0, marks: [] },
            action: '',
          },
        },
      ];
    });
  };
  const scanning = () =>
    props.book.jobs.some(
      (j) => j.kind === 'scan' && j.subject === props.film.id && (j.state === 'running' || j.state === 'waiting'),
    );
  const v = props.film.info.video!;
  return (
    <section>
      <h2>{props.film.title}</h2>
      <p class="pencil-note">
        {v.frameCount} frames · {v.widthPx} × {v.heightPx}
        {props.film.credit === '' ? '' : ` · ${props.film.credit}`}
      </p>
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
              <li class="shot" data-picked={picked(s.in, s.out)}>
                <div class="three">
                  <For each={s.thumbFrames}>
                    {(n) => (
                      <Picture
                        source={{
                          what: 'film',
                          id: props.film.id,
                          title: `${props.film.title}, shot ${s.index}`,
                          in: s.in,
                          out: s.out,
                        }}
                        frame={n}
                        width={220}
                        alt={`shot ${s.index}, frame ${n}`}
                        ratio={v.widthPx / v.heightPx}
                      />
                    )}
                  </For>
                </div>
                <div class="shot-words">
                  <h3>
                    Shot {s.index}{' '}
                    <span class="pencil-note">
                      frames {s.in}–{s.out - 1} · {seconds(s.out - s.in, v.rate)}
                      {s.entry === 'cut' || s.entry === 'start' ? '' : ` · enters by ${s.entry}`}
                    </span>
                  </h3>
                  <span class="palette" aria-hidden="true">
                    <For each={s.palette}>
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
                  <ul class="takes-list">
                    <For each={s.takes}>{(t) => <li>{wellSet(t)}</li>}</For>
                  </ul>
                  <p class="effort">about {Math.round(s.effortMinutes)} min of work</p>
                  <Show when={picked(s.in, s.out)}>
                    <span class="pencil-note picked-as">
                      picked as{' '}
                      <For each={picksIn(s.in, s.out)}>
                        {(p, i) => (
                          <>
                            {i() > 0 ? ', ' : ''}
                            <a href={`#/sheet/${encodeURIComponent(p.id)}`}>{p.title}</a>
                          </>
                        )}
                      </For>{' '}
                    </span>
                  </Show>
                  <button onClick={() => pick(s.index, s.in, s.out)}>
                    {picked(s.in, s.out) ? 'Pick it once more' : 'Pick this shot'}
                  </button>
                </div>
              </li>
            )}
          </For>
        </ul>
      </Show>
    </section>
  );
}
