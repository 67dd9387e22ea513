/** Shoot day: what to set up now, one pick at a time; made for a phone in one hand as well. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import type { PickDocument, TakeDocument } from '../../../src/book/documents.js';
import type { BookState } from '../../../src/server/api-types.js';
import { startJob, whyUnjudged } from '../api.js';
import { wellSet } from '../format.js';
import { ById } from '../parts/by-id.js';
import { PhonePart } from '../parts/phone-part.js';
import { Picture } from '../parts/picture.js';
import { StudioPart } from '../parts/studio-part.js';
import { LooseTakes } from '../parts/loose-takes.js';
import { TakeUpload } from '../parts/take-upload.js';
import { QuickJoin } from '../parts/quick-join.js';
import { TakeVerdict } from '../parts/verdict-word.js';
import { BriefDrawings, BriefText } from './brief-part.js';
import { ranked } from './wall.js';

interface DayPlan {
  readonly date: string;
  readonly slots: readonly {
    readonly kind: 'shoot' | 'rest' | 'set-up';
    readonly pick: string | null;
    readonly start: string;
    readonly end: string;
    readonly note: string;
  }[];
  readonly unplaced: readonly { readonly pick: string; readonly reason: string }[];
  readonly notes: readonly string[];
}

export function DayPage(props: { book: BookState }): JSX.Element {
  const plan = (): DayPlan | null => props.book.day as DayPlan | null;
  const order = () => {
    const ids = plan()?.slots.flatMap((s) => (s.kind === 'shoot' && s.pick !== null ? [s.pick] : [])) ?? [];
    return [...ids, ...props.book.picks.map((p) => p.id).filter((id) => !ids.includes(id))];
  };
  const [chosen, setChosen] = createSignal<string | null>(null);
  const current = () => chosen() ?? order()[0] ?? null;
  const pick = () => props.book.picks.find((p) => p.id === current());
  const titleOf = (id: string): string => props.book.picks.find((p) => p.id === id)?.title ?? id;
  return (
    <>
      <section>
        <h2>Shoot day</h2>
        <Show when={!props.book.phone}>
          <StudioPart rows={props.book.studio} />
          <PhonePart />
        </Show>
        <DayControls planned={plan()?.date ?? null} />
        <Show when={plan()} fallback={<p class="lead">No day is planned yet. Picks are shown in story order.</p>}>
          {(d) => (
            <>
              <h3>
                The plan for {d().date}
                {d().date < today() ? ', which has gone by' : ''}
              </h3>
              <Slots slots={d().slots} current={current()} titleOf={titleOf} onChoose={setChosen} />
              <Show when={d().unplaced.length > 0}>
                <Unplaced list={d().unplaced} book={props.book} titleOf={titleOf} />
              </Show>
              <For each={d().notes}>{(n) => <p class="how">{wellSet(n)}</p>}</For>
            </>
          )}
        </Show>
      </section>
      <section>
        <Show when={order().length > 0}>
          <p class="controls">
            <label>
              now{' '}
              <select value={current() ?? ''} onChange={(e) => setChosen(e.currentTarget.value)}>
                <For each={order()}>{(id) => <option value={id}>{titleOf(id)}</option>}</For>
              </select>
            </label>
          </p>
        </Show>
        <Show when={pick()} fallback={<p class="lead">Pick shots on the wall first.</p>}>
          {(p) => <PickNow book={props.book} pick={p()} />}
        </Show>
      </section>
      <LooseTakes book={props.book} />
    </>
  );
}

/** The date by this machine's clock and zone. */
function today(): string {
  const now = new Date();
  const two = (n: number): string => String(n).padStart(2, '0');
  return `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}`;
}

/** @param props.planned the date of the plan there is: one still to come is planned again, one gone by is not */
function DayControls(props: { readonly planned: string | null }): JSX.Element {
  const [asked, setDate] = createSignal<string | null>(null);
  // Where nothing was asked for, that of the plan: it may come from another window.
  const date = () => asked() ?? (props.planned !== null && props.planned > today() ? props.planned : today());
  return (
    <p class="controls">
      <label>
        date <input type="date" value={date()} onChange={(e) => setDate(e.currentTarget.value)} />
      </label>
      <button onClick={() => void startJob('day', '', { date: date() })}>Plan this day</button>
      <Show when={props.planned !== null}>
        <a href="/api/file/call-sheet.pdf" target="_blank" rel="noreferrer">
          Call sheet
        </a>
      </Show>
    </p>
  );
}

interface SlotsProps {
  readonly slots: DayPlan['slots'];
  /** The pick that is shown below. */
  readonly current: string | null;
  readonly titleOf: (pick: string) => string;
  readonly onChoose: (pick: string) => void;
}

/** The day in its order, a pick to be chosen from it. */
function Slots(props: SlotsProps): JSX.Element {
  return (
    <ol class="slots">
      <For each={props.slots}>
        {(s) => (
          <li class="slot" data-kind={s.kind} data-current={s.pick !== null && s.pick === props.current}>
            <span class="number">
              {s.start.slice(11, 16)}–{s.end.slice(11, 16)}
            </span>
            <Show when={s.pick} fallback={<span>{s.note}</span>}>
              {(id) => (
                <button aria-current={id() === props.current ? 'true' : undefined} onClick={() => props.onChoose(id())}>
                  {s.kind === 'shoot' ? '' : `${s.kind}: `}
                  {props.titleOf(id())}
                </button>
              )}
            </Show>
            <Show when={s.pick !== null && s.note !== ''}>
              <span class="pencil-note">{s.note}</span>
            </Show>
          </li>
        )}
      </For>
    </ol>
  );
}

interface UnplacedProps {
  readonly list: DayPlan['unplaced'];
  readonly book: BookState;
  readonly titleOf: (pick: string) => string;
}

function Unplaced(props: UnplacedProps): JSX.Element {
  return (
    <div class="missing">
      <h3>Not on this day</h3>
      <ul>
        <For each={props.list}>
          {(u) => (
            <li>
              {props.titleOf(u.pick)}: {wellSet(u.reason)}
            </li>
          )}
        </For>
      </ul>
      <Show when={props.list.some((u) => props.book.briefs[u.pick] !== undefined)}>
        <p class="how">Those with a brief: plan them on another date.</p>
      </Show>
    </div>
  );
}

/** The pick that is being shot: what the film shows, its brief, its takes. */
function PickNow(props: { readonly book: BookState; readonly pick: PickDocument }): JSX.Element {
  const film = () => props.book.films.find((f) => f.id === props.pick.film)!;
  const brief = () => props.book.briefs[props.pick.id];
  return (
    <div class="now">
      <div>
        <Picture
          source={{ what: 'plate', id: props.pick.id, title: props.pick.title }}
          frame={Math.floor((props.pick.out - props.pick.in) / 2)}
          width={640}
          alt={`${props.pick.title}, the film’s picture`}
          ratio={film().info.video!.widthPx / film().info.video!.heightPx}
          caption="what the film shows"
        />
        <Show when={brief()}>{(b) => <BriefDrawings brief={b()} />}</Show>
      </div>
      <div>
        <h3>{props.pick.title}</h3>
        <p>{props.pick.action}</p>
        <Show
          when={brief()}
          fallback={
            <p class="lead">
              No brief yet. <button onClick={() => void startJob('brief', props.pick.id)}>Write it</button>
            </p>
          }
        >
          {(b) => <BriefText brief={b()} drawn={false} />}
        </Show>
      </div>
      <div class="takes-now">
        <h3>Takes</h3>
        <TakeUpload pick={props.pick.id} />
        <ById each={ranked(props.book, props.pick.id)}>{(t) => <TakeNow book={props.book} take={t()} />}</ById>
      </div>
    </div>
  );
}

function TakeNow(props: { readonly book: BookState; readonly take: TakeDocument }): JSX.Element {
  const unjudged = () => whyUnjudged(props.take.id);
  return (
    <div class="take-now">
      <Picture
        source={{ what: 'take', id: props.take.id, title: props.take.title }}
        frame={Math.floor(props.take.info.video!.frameCount / 2)}
        width={240}
        alt={props.take.title}
      />
      <div>
        <strong>{props.take.title}</strong>{' '}
        <Show
          when={props.take.verdict}
          fallback={
            <span class="pencil-note">{unjudged() === null ? 'not judged yet' : `not judged: ${unjudged()}`}</span>
          }
        >
          {(v) => (
            <>
              <TakeVerdict verdict={v()} small />
              <ul class="changes">
                <For each={v().matters.filter((m) => m.verdict !== 'fits' && m.verdict !== null)}>
                  {(m) => <li>{wellSet(m.change)}</li>}
                </For>
              </ul>
            </>
          )}
        </Show>
        <QuickJoin book={props.book} take={props.take.id} title={props.take.title} />
      </div>
    </div>
  );
}
