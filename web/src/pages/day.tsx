/** Shoot day: what to set up now, one pick at a time; made for a phone in one hand as well. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import { startJob, whyUnjudged } from '../api.js';
import { ById } from '../parts/by-id.js';
import { PhonePart } from '../parts/phone-part.js';
import { Picture } from '../parts/picture.js';
import { StudioPart } from '../parts/studio-part.js';
import { LooseTakes } from '../parts/loose-takes.js';
import { TakeUpload } from '../parts/take-upload.js';
import { QuickJoin } from '../parts/quick-join.js';
import { TakeVerdict } from '../parts/verdict-word.js';
import { BriefText } from './brief-part.js';
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
  const [date, setDate] = createSignal(new Date().toISOString().slice(0, 10));
  return (
    <>
      <section>
        <h2>Shoot day</h2>
        <Show when={!props.book.phone}>
          <StudioPart rows={props.book.studio} />
          <PhonePart />
        </Show>
        <p class="controls">
          <label>
            date <input type="date" value={date()} onChange={(e) => setDate(e.currentTarget.value)} />
          </label>
          <button onClick={() => void startJob('day', '', { date: date() })}>Plan this day</button>
          <Show when={plan()}>
            <a href="/api/file/call-sheet.pdf" target="_blank" rel="noreferrer">
              Call sheet
            </a>
          </Show>
        </p>
        <Show when={plan()} fallback={<p class="lead">No day is planned yet. Picks are shown in story order.</p>}>
          {(d) => (
            <>
              <p class="pencil-note">planned for {d().date}</p>
              <ol class="slots">
                <For each={d().slots}>
                  {(s) => (
                    <li class="slot" data-kind={s.kind} data-current={s.pick !== null && s.pick === current()}>
                      <span class="number">
                        {s.start.slice(11, 16)}–{s.end.slice(11, 16)}
                      </span>
                      <Show when={s.pick} fallback={<span>{s.note}</span>}>
                        {(id) => (
                          <button onClick={() => setChosen(id())}>
                            {s.kind === 'shoot' ? '' : `${s.kind}: `}
                            {props.book.picks.find((p) => p.id === id())?.title ?? id()}
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
              <Show when={d().unplaced.length > 0}>
                <div class="missing">
                  <h4>Not on this day</h4>
                  <ul>
                    <For each={d().unplaced}>
                      {(u) => (
                        <li>
                          {props.book.picks.find((p) => p.id === u.pick)?.title ?? u.pick}: {u.reason}
                        </li>
                      )}
                    </For>
                  </ul>
                  <Show when={d().unplaced.some((u) => props.book.briefs[u.pick] !== undefined)}>
                    <p class="how">Those with a brief: plan them on another date.</p>
                  </Show>
                </div>
              </Show>
              <For each={d().notes}>{(n) => <p class="how">{n}</p>}</For>
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
                <For each={order()}>
                  {(id) => <option value={id}>{props.book.picks.find((p) => p.id === id)?.title ?? id}</option>}
                </For>
              </select>
            </label>
          </p>
        </Show>
        <Show when={pick()} fallback={<p class="lead">Pick shots on the wall first.</p>}>
          {(p) => {
            const film = () => props.book.films.find((f) => f.id === p().film)!;
            const brief = () => props.book.briefs[p().id];
            return (
              <div class="now">
                <Picture
                  source={{ what: 'plate', id: p().id, title: p().title }}
                  frame={Math.floor((p().out - p().in) / 2)}
                  width={640}
                  alt={`${p().title}, the film's picture`}
                  ratio={film().info.video!.widthPx / film().info.video!.heightPx}
                  caption="what the film shows"
                />
                <div>
                  <h3>{p().title}</h3>
                  <p>{p().action}</p>
                  <Show
                    when={brief()}
                    fallback={
                      <p class="lead">
                        No brief yet. <button onClick={() => void startJob('brief', p().id)}>Write it</button>
                      </p>
                    }
                  >
                    {(b) => <BriefText brief={b()} />}
                  </Show>
                </div>
                <div class="takes-now">
                  <h3>Takes</h3>
                  <TakeUpload pick={p().id} />
                  <ById each={ranked(props.book, p().id)}>
                    {(t) => (
                      <div class="take-now">
                        <Picture
                          source={{ what: 'take', id: t().id, title: t().title }}
                          frame={Math.floor(t().info.video!.frameCount / 2)}
                          width={240}
                          alt={t().title}
                        />
                        <div>
                          <strong>{t().title}</strong>{' '}
                          <Show
                            when={t().verdict}
                            fallback={
                              <span class="pencil-note">
                                {whyUnjudged(t().id) === null ? 'not judged yet' : `not judged: ${whyUnjudged(t().id)}`}
                              </span>
                            }
                          >
                            {(v) => (
                              <>
                                <TakeVerdict verdict={v()} small />
                                <ul class="changes">
                                  <For each={v().matters.filter((m) => m.verdict !== 'fits' && m.verdict !== null)}>
                                    {(m) => <li>{m.change}</li>}
                                  </For>
                                </ul>
                              </>
                            )}
                          </Show>
                          <QuickJoin book={props.book} take={t().id} title={t().title} />
                        </div>
                      </div>
                    )}
                  </ById>
                </div>
              </div>
            );
          }}
        </Show>
      </section>
      <LooseTakes book={props.book} />
    </>
  );
}
