/**
 * One pick from top to bottom: plate with its marks, what was measured, the brief,
 * takes and verdicts, the join, the inspection.
 */
import { For, Show, type JSX } from 'solid-js';
import { nameAmong } from '../../../src/book/titles.js';
import type { BookState } from '../../../src/server/api-types.js';
import type { PickDocument } from '../../../src/book/documents.js';
import { jobs } from '../api.js';
import { seconds } from '../format.js';
import { nextStep } from '../next-step.js';
import { ById } from '../parts/by-id.js';
import { InspectionTable } from '../parts/inspection-table.js';
import { JoinPart } from '../parts/join-part.js';
import { MeasuredPart } from '../parts/measured-part.js';
import { PickWords } from '../parts/pick-words.js';
import { PlatePart } from '../parts/plate-part.js';
import { TakeCard } from '../parts/take-card.js';
import { TakeUpload } from '../parts/take-upload.js';
import { BriefPart } from './brief-part.js';
import { ranked } from './wall.js';

export function SheetPage(props: { book: BookState; id: string }): JSX.Element {
  const pick = () => props.book.picks.find((p) => p.id === props.id);
  return (
    <Show
      when={pick()}
      fallback={
        <p class="lead">
          There is no pick “{props.id}” in this book. <a href="#/wall">Back to the wall</a>
        </p>
      }
    >
      {(p) => <Sheet book={props.book} pick={p()} />}
    </Show>
  );
}

function Sheet(props: { book: BookState; pick: PickDocument }): JSX.Element {
  const film = () => props.book.films.find((f) => f.id === props.pick.film)!;
  const video = () => film().info.video!;
  const ratio = () => video().widthPx / video().heightPx;
  const frames = () => props.pick.out - props.pick.in;
  const join = () => props.book.joins.find((j) => j.id === props.pick.id);
  return (
    <article class="sheet">
      <header class="sheet-head">
        <h2>{props.pick.title}</h2>
        <p class="pencil-note">
          {nameAmong(props.book.films, film())}, frames {props.pick.in}–{props.pick.out - 1} ·{' '}
          {seconds(frames(), video().rate)}
          {props.pick.note === '' ? '' : ` · ${props.pick.note}`}
        </p>
        <PickWords book={props.book} pick={props.pick} />
        <SheetNav />
        <NextStep book={props.book} pick={props.pick} />
      </header>

      <PlatePart pick={props.pick} ratio={ratio()} />

      <MeasuredPart book={props.book} pick={props.pick} />

      <section id="brief">
        <h3>The brief</h3>
        <Show when={props.book.stale.briefs.includes(props.pick.id)}>
          <p class="stale" role="status">
            Measures, marks or the studio’s own facts were changed since this was written. Write it again.
          </p>
        </Show>
        <BriefPart book={props.book} pick={props.pick} />
      </section>

      <section id="takes">
        <h3>Takes and verdicts</h3>
        <TakeUpload pick={props.pick.id} />
        <ById each={ranked(props.book, props.pick.id)} fallback={<p class="lead">No take yet.</p>}>
          {(t) => <TakeCard book={props.book} take={t()} pick={props.pick} />}
        </ById>
      </section>

      <JoinPart book={props.book} pick={props.pick} ratio={ratio()} />

      <section id="inspection">
        <h3>Does the join show?</h3>
        <Show when={join()?.inspection} fallback={<p class="pencil-note">not inspected yet</p>}>
          {(i) => <InspectionTable inspection={i()} pick={props.pick.id} />}
        </Show>
      </section>
    </article>
  );
}

function SheetNav(): JSX.Element {
  return (
    <nav class="sheet-nav" aria-label="Parts of the sheet">
      <For
        each={[
          ['plate', 'Plate'],
          ['measures', 'Measured'],
          ['brief', 'Brief'],
          ['takes', 'Takes'],
          ['join', 'Join'],
          ['inspection', 'Inspection'],
        ]}
      >
        {([id, label]) => (
          <a
            href={location.hash}
            onClick={(e) => {
              e.preventDefault();
              goTo(id!);
            }}
          >
            {label}
          </a>
        )}
      </For>
    </nav>
  );
}

/** What is to be done next, and the way there. */
function NextStep(props: { book: BookState; pick: PickDocument }): JSX.Element {
  return (
    <Show when={nextStep({ ...props.book, jobs: jobs() }, props.pick)}>
      {(n) => (
        <p class="next">
          {n().part === 'cut' ? 'Done' : 'Next'}:{' '}
          <Show when={n().part !== 'cut'} fallback={<a href="#/cut">{n().words}</a>}>
            <a
              href={location.hash}
              onClick={(e) => {
                e.preventDefault();
                goTo(n().part);
              }}
            >
              {n().words}
            </a>
          </Show>
        </p>
      )}
    </Show>
  );
}

/** Scrolls to a part of the sheet and takes the keyboard there. */
function goTo(part: string): void {
  const heading = document.querySelector<HTMLElement>(`#${part} h3`);
  if (heading === null) return;
  heading.tabIndex = -1;
  heading.focus({ preventScroll: true });
  heading.scrollIntoView({ behavior: 'smooth', block: 'start' });
}
