/** The wall: the film's shots to skim, and the picks pinned up in story order. */
import { createEffect, on, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { PickDocument } from '../../../src/book/documents.js';
import { rankTakes } from '../../../src/take/verdict/rank-takes.js';
import { book as now, edit, jobs } from '../api.js';
import { seconds } from '../format.js';
import { nextStep } from '../next-step.js';
import { ById } from '../parts/by-id.js';
import { FilmShots } from '../parts/film-shots.js';
import { FilmUpload } from '../parts/film-words.js';
import { Picture } from '../parts/picture.js';
import { TakeVerdict } from '../parts/verdict-word.js';

/** The takes of a pick in rank. */
export function ranked(book: BookState, pick: string): BookState['takes'] {
  return rankTakes(book.takes.filter((t) => t.pick === pick));
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
            <ById each={props.book.picks}>{(p, i) => <Pin book={props.book} pick={p()} index={i()} />}</ById>
          </ol>
        </Show>
      </section>
      <ById each={props.book.films}>{(f) => <FilmShots book={props.book} film={f()} />}</ById>
      <FilmUpload first={props.book.films.length === 0} />
    </>
  );
}

/** A pick's card: its picture, what there is of it, what comes next, its place in the story. */
function Pin(props: { book: BookState; pick: PickDocument; index: number }): JSX.Element {
  const film = () => props.book.films.find((f) => f.id === props.pick.film);
  const join = () => props.book.joins.find((j) => j.id === props.pick.id);
  const takes = () => props.book.takes.filter((t) => t.pick === props.pick.id).length;
  const best = () => ranked(props.book, props.pick.id)[0];
  return (
    <li class="pin">
      <Show when={film()}>
        {(f) => (
          <Picture
            source={
              join()?.render === undefined
                ? { what: 'plate', id: props.pick.id, title: props.pick.title }
                : { what: 'join', id: props.pick.id, title: props.pick.title, version: join()!.render!.at }
            }
            frame={Math.floor((props.pick.out - props.pick.in) / 2)}
            width={480}
            alt={props.pick.title}
            ratio={f().info.video!.widthPx / f().info.video!.heightPx}
          />
        )}
      </Show>
      <div class="pin-words">
        <h3>
          <a href={`#/sheet/${encodeURIComponent(props.pick.id)}`}>
            {props.index + 1}. {props.pick.title}
          </a>
        </h3>
        <p class="pencil-note">
          {film() === undefined ? '' : seconds(props.pick.out - props.pick.in, film()!.info.video!.rate)} ·{' '}
          {takes() === 1 ? '1 take' : `${takes()} takes`}
          {join()?.render === undefined ? '' : ' · joined'}
        </p>
        <Show when={best()?.verdict}>
          {(v) => (
            <p>
              <TakeVerdict verdict={v()} small />
            </p>
          )}
        </Show>
        <Show when={nextStep({ ...props.book, jobs: jobs() }, props.pick)}>
          {(n) => (
            <p class="pencil-note">
              {n().part === 'cut' ? 'done' : 'next'}: {n().words}
            </p>
          )}
        </Show>
        <StoryOrder book={props.book} pick={props.pick} index={props.index} />
      </div>
    </li>
  );
}

/** The card's place in the story, to be changed. */
function StoryOrder(props: { book: BookState; pick: PickDocument; index: number }): JSX.Element {
  const first = () => props.index === 0;
  const last = () => props.index === props.book.picks.length - 1;
  // A card that is moved takes the keyboard along, which the browser takes off it.
  // It is moved once for every press, as the answers come: a hand that has gone elsewhere keeps the keyboard there.
  let pressed: HTMLButtonElement | null = null;
  const moveAlong = (button: HTMLButtonElement, by: -1 | 1): void => {
    pressed = button;
    movePick(props.pick, by);
  };
  createEffect(
    on(
      () => props.index,
      () => {
        requestAnimationFrame(() => {
          if (document.activeElement === document.body) pressed?.focus();
        });
      },
      { defer: true },
    ),
  );
  return (
    // Not disabled at the ends: a disabled button loses the keyboard.
    <span class="order">
      <button
        aria-label={`Move ${props.pick.title} earlier`}
        aria-disabled={first()}
        onClick={(e) => !first() && moveAlong(e.currentTarget, -1)}
      >
        Earlier
      </button>
      <button
        aria-label={`Move ${props.pick.title} later`}
        aria-disabled={last()}
        onClick={(e) => !last() && moveAlong(e.currentTarget, 1)}
      >
        Later
      </button>
    </span>
  );
}
