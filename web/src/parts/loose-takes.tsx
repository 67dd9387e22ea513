/**
 * Takes that are for no pick yet: what came off a phone in one go is given out here.
 * And which pick a take is for, to change it.
 */
import { For, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { TakeDocument } from '../../../src/book/documents.js';
import { assignTake, removeTake, takeAgain, takeForToo, turnTake, whyUnjudged } from '../api.js';
import { ById } from './by-id.js';
import { Picture } from './picture.js';
import { TakeUpload } from './take-upload.js';

export function LooseTakes(props: { book: BookState }): JSX.Element {
  const loose = () => props.book.takes.filter((t) => t.pick === null);
  return (
    <section>
      <h2>Takes for no pick</h2>
      <p class="how">
        Send here what was shot without saying for what, and say afterwards which pick each take is for: it is judged as
        soon as that is known.
      </p>
      <TakeUpload pick={null} />
      <ById each={loose()}>
        {(t) => (
          <div class="take-now">
            <Picture
              source={{ what: 'take', id: t().id, title: t().title }}
              frame={Math.floor(t().info.video!.frameCount / 2)}
              width={240}
              alt={t().title}
            />
            <div>
              <strong>{t().title}</strong> <TakePlace book={props.book} take={t()} />
            </div>
          </div>
        )}
      </ById>
    </section>
  );
}

/** The pick a take is for, as a choice; and the way out of the book. */
export function TakePlace(props: { book: BookState; take: TakeDocument }): JSX.Element {
  return (
    <>
      <OtherFile book={props.book} take={props.take} />
      <p class="controls take-place">
        <label>
          for{' '}
          <select
            value={props.take.pick ?? ''}
            onChange={(e) =>
              void assignTake(props.take.id, e.currentTarget.value === '' ? null : e.currentTarget.value)
            }
          >
            <option value="">no pick yet</option>
            <For each={props.book.picks}>
              {(p) => (
                <option value={p.id} selected={p.id === props.take.pick}>
                  {p.title}
                </option>
              )}
            </For>
          </select>
        </label>
        <AlsoFor book={props.book} take={props.take} />
        <Filmed book={props.book} take={props.take} />
        <Show when={props.take.verdict === undefined && whyUnjudged(props.take.id)}>
          {(why) => (
            <span class="stale" role="status">
              Not judged: {why()}
            </span>
          )}
        </Show>
        <OutOfBook book={props.book} take={props.take} />
        <Show when={props.book.missing.takes.includes(props.take.id)}>
          <span class="stale" role="status">
            Its file {props.take.file} is not there: put it back, or take it out and add it again.
          </span>
        </Show>
        <For each={props.take.info.video?.notes ?? []}>{(n) => <span class="pencil-note">{n}</span>}</For>
      </p>
    </>
  );
}

/** Says that the take's file has been changed since it was added, with the ways out. */
function OtherFile(props: { book: BookState; take: TakeDocument }): JSX.Element {
  return (
    <Show when={props.book.stale.takes.includes(props.take.id)}>
      <p class="stale" role="status">
        Its file is another than the one that was added; marks and verdict are that one’s. Put the old file back, or
        take this one in (joins built with it go; an undo brings them back).{' '}
        <Show when={!props.book.phone}>
          <button onClick={() => void takeAgain(props.take.id, true)}>Take it in, marks kept</button>{' '}
          <button onClick={() => void takeAgain(props.take.id, false)}>Take it in without marks</button>
        </Show>
      </p>
    </Show>
  );
}

/** Turns a take that was filmed on its side or upside down. */
function Filmed(props: { book: BookState; take: TakeDocument }): JSX.Element {
  return (
    <Show when={!props.book.phone && props.take.kind === 'video'}>
      <label>
        filmed{' '}
        <select
          value="0"
          onChange={(e) => {
            const by = Number(e.currentTarget.value);
            e.currentTarget.value = '0';
            if (by !== 0) void turnTake(props.take.id, by);
          }}
        >
          <option value="0">upright</option>
          <option value="180">upside down: turn it</option>
          <option value="90">on its side: turn to the right</option>
          <option value="270">on its side: turn to the left</option>
        </select>
      </label>
    </Show>
  );
}

/** Takes it out of the book, unless a join is built with it. */
function OutOfBook(props: { book: BookState; take: TakeDocument }): JSX.Element {
  const used = () => props.book.joins.some((j) => j.take === props.take.id);
  return (
    <Show when={!props.book.phone}>
      <button
        disabled={used()}
        title={used() ? 'a join is built with it: build that with another take first' : undefined}
        onClick={() => void removeTake(props.take.id)}
      >
        Take it out of the book
      </button>
      <Show when={used()}>
        <span class="pencil-note">a join is built with it</span>
      </Show>
    </Show>
  );
}

/** Other picks for which the same file may be a take too: there it is marked and judged by itself. */
function AlsoFor(props: { book: BookState; take: TakeDocument }): JSX.Element {
  const others = () =>
    props.book.picks.filter((p) => !props.book.takes.some((t) => t.pick === p.id && t.file === props.take.file));
  return (
    <Show when={!props.book.phone && props.take.pick !== null && others().length > 0}>
      <label>
        also for{' '}
        <select
          value=""
          onChange={(e) => {
            const pick = e.currentTarget.value;
            e.currentTarget.value = '';
            if (pick !== '') void takeForToo(props.take.id, pick);
          }}
        >
          <option value="">no other pick</option>
          <For each={others()}>{(p) => <option value={p.id}>{p.title}</option>}</For>
        </select>
      </label>
    </Show>
  );
}
