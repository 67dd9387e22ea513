/**
 * One pick from top to bottom: plate with its marks, what was measured, the brief,
 * takes and verdicts, the join, the inspection.
 */
import { createSignal, For, Show, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { PickDocument, TakeDocument } from '../../../src/book/documents.js';
import type { PlateMeasures } from '../../../src/plate/types.js';
import { edit, startJob } from '../api.js';
import { amount, need, seconds, shown } from '../format.js';
import { ById } from '../parts/by-id.js';
import { BuildJoin } from '../parts/build-join.js';
import { CleanFrame } from '../parts/clean-frame.js';
import { GrainPair } from '../parts/grain-pair.js';
import { LayerList } from '../parts/layer-list.js';
import { InspectionTable } from '../parts/inspection-table.js';
import { TakeMatter, words } from '../parts/matter-name.js';
import { MeasureList } from '../parts/measure-list.js';
import { PickWords } from '../parts/pick-words.js';
import { OutlinePart } from '../parts/outline-part.js';
import { Picture } from '../parts/picture.js';
import { QuickJoin } from '../parts/quick-join.js';
import { TakePlace } from '../parts/loose-takes.js';
import { TakeUpload } from '../parts/take-upload.js';
import { ScreenPart } from '../parts/screen-part.js';
import { TakeVerdict, VerdictWord } from '../parts/verdict-word.js';
import { BriefPart } from './brief-part.js';
import { StepList } from './step-list.js';
import { nextStep } from '../next-step.js';
import { openViewer } from '../viewer/state.js';
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
  const m = () => props.book.measures[props.pick.id];
  const frames = () => props.pick.out - props.pick.in;
  const join = () => props.book.joins.find((j) => j.id === props.pick.id);
  return (
    <article class="sheet">
      <header class="sheet-head">
        <h2>{props.pick.title}</h2>
        <p class="pencil-note">
          {film().title}, frames {props.pick.in}–{props.pick.out - 1} · {seconds(frames(), video().rate)}
          {props.pick.note === '' ? '' : ` · ${props.pick.note}`}
        </p>
        <PickWords book={props.book} pick={props.pick} />
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
        <Show when={nextStep(props.book, props.pick)}>
          {(n) => (
            <p class="next">
              Next:{' '}
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
      </header>

      <section id="plate">
        <h3>The plate</h3>
        <div class="strip">
          <For each={[0, 0.33, 0.66, 1]}>
            {(t) => {
              const n = () => Math.round(t * (frames() - 1));
              return (
                <Picture
                  source={{ what: 'plate', id: props.pick.id, title: props.pick.title }}
                  frame={n()}
                  width={520}
                  alt={`plate, frame ${n()}`}
                  ratio={ratio()}
                  caption={`frame ${n()}`}
                />
              );
            }}
          </For>
        </div>
        <p class="controls">
          <button
            onClick={() =>
              openViewer({
                what: 'plate',
                id: props.pick.id,
                title: props.pick.title,
                start: props.pick.marks.frame,
                marking: true,
              })
            }
          >
            Put marks on it
          </button>
          <span class="pencil-note">
            {props.pick.marks.marks.length === 0
              ? 'no marks yet: uprights of known height, ground lines, shadows, where the performer stands'
              : `${props.pick.marks.marks.length === 1 ? '1 mark' : `${props.pick.marks.marks.length} marks`}: ` +
                tally(props.pick.marks.marks.map((x) => x.kind))}
          </span>
        </p>
      </section>

      <section id="measures">
        <h3>What was measured</h3>
        <Show when={props.book.stale.measures.includes(props.pick.id)}>
          <p class="stale" role="status">
            Marks or span were changed since: these numbers do not know of it. Measure again.
          </p>
        </Show>
        <p class="controls">
          <button onClick={() => void startJob('measure', props.pick.id)}>
            {m() === undefined ? 'Measure the plate' : 'Measure again'}
          </button>
          <Show when={m()}>
            <button
              onClick={() =>
                openViewer({
                  what: 'plate',
                  id: props.pick.id,
                  title: props.pick.title,
                  start: m()!.view?.frame ?? 0,
                  overlays: true,
                })
              }
            >
              See it on the picture
            </button>
          </Show>
        </p>
        <For each={['pictures', 'damage'].map((part) => (m() === undefined ? undefined : noteOf(m()!, part)))}>
          {(said) => (
            <Show when={said}>{(words) => <p class="stale">{words()[0]!.toUpperCase() + words().slice(1)}.</p>}</Show>
          )}
        </For>
        <Show when={m()}>
          {(x) => (
            <div class="measure-columns">
              <MeasureList
                title="Camera"
                items={[
                  {
                    name: 'focal length',
                    measure: x().view?.focalPx ?? x().camera?.focalPx,
                    absent: noteOf(x(), 'view'),
                  },
                  { name: 'tilt', measure: x().view?.tiltDeg, absent: noteOf(x(), 'view') },
                  { name: 'roll', measure: x().view?.rollDeg, absent: noteOf(x(), 'view') },
                  { name: 'height', measure: x().view?.cameraHeight, absent: noteOf(x(), 'view') },
                  ...(x().travel === undefined ? [] : [{ name: 'way over the ground', measure: x().travel!.way }]),
                ]}
              >
                <p class="how">
                  move: {x().camera?.move ?? noteOf(x(), 'camera') ?? 'not measured'}
                  {x().camera?.shake ? `, shake ${x().camera!.shake!.rmsPx.toFixed(2)} px` : ''}
                  {x().view ? `; marks agree within ${x().view!.residualPx.toFixed(2)} px` : ''}
                </p>
              </MeasureList>
              <MeasureList
                title="Light"
                items={[
                  { name: 'azimuth of the key', measure: x().light?.azimuthDeg },
                  { name: 'elevation', measure: x().light?.elevationDeg },
                  { name: 'key over fill', measure: x().light?.keyFillStops },
                  { name: 'softness', measure: x().light?.softnessDeg },
                  { name: 'colour temperature', measure: x().light?.temperatureK },
                ]}
              >
                <For each={x().light?.notes ?? []}>{(n) => <p class="how">{n}</p>}</For>
              </MeasureList>
              <MeasureList
                title="Room"
                items={[
                  { name: 'ground for the performer', measure: x().room?.ground },
                  { name: 'performer in the picture', measure: x().room?.performerHeightPx },
                  { name: 'to erase', measure: x().room?.eraseShare, share: true },
                  { name: 'supplied by other frames', measure: x().room?.suppliedShare, share: true },
                ]}
              >
                <Show when={x().room}>
                  {(r) => (
                    <p class="how">
                      <Show when={widened(x()) !== ''}>to be widened by {widened(x())}. </Show>about{' '}
                      {Math.round(r().effort.minutes)} min: {r().effort.reasons.join('; ')}
                    </p>
                  )}
                </Show>
              </MeasureList>
              <Show
                when={x().stir}
                fallback={
                  <section class="measures">
                    <h3>Stir</h3>
                    <p class="how">
                      {noteOf(x(), 'stir') ??
                        'nothing is marked that could stir; would help: ' +
                          'a mark round what stirs (hair, cloth, water, leaves), of what the performer rides on, ' +
                          'of a head or of a body'}
                    </p>
                  </section>
                }
              >
                <MeasureList
                  title="Stir"
                  items={[
                    { name: 'amplitude', measure: x().stir?.amplitudePx },
                    { name: 'direction', measure: x().stir?.directionDeg },
                    { name: 'rate', measure: x().stir?.rateHz },
                  ]}
                />
              </Show>
              <section class="measures">
                <h3>Ride and turn</h3>
                <p class="how">
                  <Show
                    when={x().ride}
                    fallback={
                      noteOf(x(), 'ride') ??
                      'no region to ride on is marked; would help: ' +
                        'an outline (“rides on”) of what carries the performer'
                    }
                  >
                    {(r) => (
                      <>
                        followed over {r().frames.length} frames ({r().model}); lowest confidence{' '}
                        {Math.min(...r().frames.map((f) => f.confidence)).toFixed(2)}
                      </>
                    )}
                  </Show>
                </p>
                <p class="how">
                  <Show
                    when={x().turn}
                    fallback={
                      noteOf(x(), 'turn') ??
                      'no turn is marked; would help: a face, or two or three poses (frame and yaw) of whoever turns'
                    }
                  >
                    {(t) => (
                      <>
                        turns from {t().frames[0]?.yawDeg.toFixed(0)}° to{' '}
                        {t().frames[t().frames.length - 1]?.yawDeg.toFixed(0)}°, at most{' '}
                        {t().peakDegPerSecond.toFixed(0)}° a second (±{' '}
                        {Math.max(...t().frames.map((f) => f.sd)).toFixed(1)}°)
                      </>
                    )}
                  </Show>
                </p>
              </section>
              <MeasureList
                title="Look"
                items={[
                  { name: 'edge spread', measure: x().look?.edgeSpreadPx },
                  { name: 'sharpness, MTF50', measure: x().look?.mtf50 },
                  { name: 'motion blur', measure: x().look?.motionBlur.lengthPx },
                  { name: 'shutter', measure: x().look?.motionBlur.shutterDeg },
                  { name: 'grain size', measure: x().look?.grain.correlationPx },
                  { name: 'haze', measure: x().look?.haze.amount },
                ]}
              >
                <Show when={(x().look?.grain.table.length ?? 0) > 0}>
                  <GrainPair pick={props.pick.id} stamp={x().span.out} />
                </Show>
              </MeasureList>
            </div>
          )}
        </Show>
      </section>

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

      <section id="join">
        <h3>The join</h3>
        <Show when={join()} fallback={<p class="lead">Not built yet. Choose a take above and build it.</p>}>
          {(j) => (
            <>
              <Show when={props.book.stale.renders.includes(props.pick.id)}>
                <p class="stale" role="status">
                  The recipe was changed since this was rendered: the pictures here, the cut and the inspection show the
                  one before. Render it again.
                </p>
              </Show>
              <Show
                when={j().render}
                fallback={<p class="pencil-note">The recipe is there, the picture is not rendered yet.</p>}
              >
                {(r) => (
                  <div class="strip">
                    <For each={[0, 0.5, 1]}>
                      {(t) => {
                        const n = () => Math.round(t * (r().frames - 1));
                        return (
                          <Picture
                            source={{
                              what: 'join',
                              id: props.pick.id,
                              title: `${props.pick.title}, joined`,
                              version: r().at,
                              against: { what: 'plate', id: props.pick.id, title: 'plate' },
                            }}
                            frame={n()}
                            width={640}
                            alt={`join, frame ${n()}`}
                            ratio={ratio()}
                            caption={`frame ${n()}`}
                          />
                        );
                      }}
                    </For>
                  </div>
                )}
              </Show>
              <p class="controls">
                <button
                  onClick={() => void startJob('join', props.pick.id, { take: j().take, quality: 'fine', keep: true })}
                >
                  Render at full quality
                </button>
                <button onClick={() => void startJob('join', props.pick.id, { take: j().take, keep: true })}>
                  Render as it stands
                </button>
                <button onClick={() => void startJob('inspect', props.pick.id)}>Inspect</button>
              </p>
              <StepList pick={props.pick} join={j()} ratio={ratio()} />
            </>
          )}
        </Show>
      </section>

      <section id="inspection">
        <h3>Does the join show?</h3>
        <Show when={join()?.inspection} fallback={<p class="pencil-note">not inspected yet</p>}>
          {(i) => <InspectionTable inspection={i()} pick={props.pick.id} />}
        </Show>
      </section>
    </article>
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

/** Why a part of the measures is absent, in the words of the measuring. */
function noteOf(m: PlateMeasures, part: string): string | undefined {
  return m.notes?.find((n) => n.startsWith(`${part}: `))?.slice(part.length + 2);
}

/** By how much the picture is to grow, in words; empty where it is not. */
function widened(m: PlateMeasures): string {
  const w = m.room?.widenPx;
  return w === undefined
    ? ''
    : (['left', 'right', 'top', 'bottom'] as const)
        .filter((k) => w[k] > 0)
        .map((k) => `${Math.round(w[k])} px ${k}`)
        .join(', ');
}

function tally(kinds: readonly string[]): string {
  const n = new Map<string, number>();
  for (const k of kinds) n.set(k, (n.get(k) ?? 0) + 1);
  return [...n].map(([k, c]) => (c > 1 ? `${c} × ${words(k)}` : words(k))).join(', ');
}

/** What lends a part to a take's join, by take: it stays chosen while another page is looked at. */
const [lending, setLending] = createSignal<Readonly<Record<string, { readonly from: string; readonly later: string }>>>(
  {},
);

function TakeCard(props: { book: BookState; take: TakeDocument; pick: PickDocument }): JSX.Element {
  const t = () => props.take;
  const lent = () => lending()[t().id] ?? { from: '', later: '0' };
  const lends = () => lent().from;
  const later = () => lent().later;
  const setLends = (from: string): void => void setLending({ ...lending(), [t().id]: { ...lent(), from } });
  const setLater = (frames: string): void => void setLending({ ...lending(), [t().id]: { ...lent(), later: frames } });
  const v = () => t().info.video!;
  const n = () => Math.floor(((t().verdict?.span.in ?? 0) + (t().verdict?.span.out ?? v().frameCount)) / 2);
  return (
    <div class="take-card">
      <div>
        <Picture
          source={{
            what: 'take',
            id: t().id,
            title: t().title,
            against: { what: 'plate', id: props.pick.id, title: 'plate' },
          }}
          frame={n()}
          width={360}
          alt={t().title}
          ratio={v().widthPx / v().heightPx}
        />
        <QuickJoin book={props.book} take={t().id} title={t().title} />
      </div>
      <div>
        <h4>
          {t().title} <Show when={t().verdict}>{(x) => <TakeVerdict verdict={x()} />}</Show>
        </h4>
        <p class="pencil-note">
          {v().frameCount} {t().kind === 'layers' ? 'layers' : 'frames'} · {v().widthPx} × {v().heightPx}
          {t().kind === 'video' || t().kind === 'layers' ? '' : ` · ${t().kind}`}
          {t().note === '' ? '' : ` · ${t().note}`}
        </p>
        <p class="controls">
          <button
            aria-pressed={t().star}
            onClick={() =>
              void edit(`${t().star ? 'unstar' : 'star'} ${t().title}`, [
                { do: 'change', kind: 'take', id: t().id, fields: { star: !t().star } },
              ])
            }
          >
            {t().star ? '★ starred' : '☆ star'}
          </button>
          <button
            onClick={() =>
              openViewer({ what: 'take', id: t().id, title: t().title, start: t().marks?.frame ?? 0, marking: true })
            }
          >
            Marks
          </button>
          <Show when={t().kind === 'video'}>
            <button onClick={() => void startJob('verdict', t().id)}>
              {t().verdict === undefined ? 'Judge it' : 'Judge again'}
            </button>
          </Show>
          <BuildJoin
            pick={props.pick.id}
            take={t().id}
            join={props.book.joins.find((j) => j.id === props.pick.id)}
            spec={() =>
              lends() === ''
                ? {}
                : lends() === 'plate'
                  ? { platePatch: Number(later()) || 0 }
                  : { patch: lends().slice(5) }
            }
          />
          <Show when={t().kind !== 'layers'}>
            <label>
              with a part of{' '}
              <select value={lends()} onChange={(e) => setLends(e.currentTarget.value)}>
                <option value="">nothing else</option>
                <option value="plate">the plate</option>
                <For each={props.book.takes.filter((x) => x.pick === props.pick.id && x.id !== t().id)}>
                  {(x) => <option value={`take:${x.id}`}>{x.title}</option>}
                </For>
              </select>
            </label>
            <Show when={lends() === 'plate'}>
              <label>
                frames later{' '}
                <input
                  type="text"
                  inputmode="numeric"
                  size="4"
                  value={later()}
                  onInput={(e) => setLater(e.currentTarget.value)}
                />
              </label>
              <span class="pencil-note">
                the part marked on the plate (patch or head) goes onto the performer’s own, marked on the take
              </span>
            </Show>
          </Show>
        </p>
        <TakePlace book={props.book} take={t()} />
        <Show when={t().kind === 'layers'}>
          <LayerList take={t()} />
        </Show>
        <Show when={t().kind === 'video' && !v().hasAlpha}>
          <ScreenPart take={t()} />
          <CleanFrame take={t()} />
          <OutlinePart take={t()} />
        </Show>
        <Show when={t().verdict}>
          {(x) => (
            <table class="matters">
              <caption class="pencil-note">
                best span: frames {x().span.in}–{x().span.out - 1} of the take
                <Show when={props.book.stale.verdicts.includes(t().id)}>
                  {' '}
                  · <strong class="stale">measures, marks or limits were changed since: judge again</strong>
                </Show>
              </caption>
              <thead>
                <tr>
                  <th scope="col">matter</th>
                  <th scope="col">measured</th>
                  <th scope="col">needed</th>
                  <th scope="col">verdict</th>
                  <th scope="col">what to change</th>
                </tr>
              </thead>
              <tbody>
                <For each={[...x().matters].sort((a, b) => weight(b.verdict) - weight(a.verdict))}>
                  {(r) => (
                    <tr data-verdict={r.verdict ?? 'open'}>
                      <TakeMatter name={r.matter} />
                      <td>{r.measured === null ? '–' : amount(r.measured, r.sd, shown(r))}</td>
                      <td>{need(r)}</td>
                      <td>
                        <VerdictWord word={r.verdict} small />
                      </td>
                      <td>{r.change.replace(/^can't be judged: /, '')}</td>
                    </tr>
                  )}
                </For>
              </tbody>
            </table>
          )}
        </Show>
        <For each={(t().verdict?.notes ?? []).filter((n) => !n.startsWith('not judged:'))}>
          {(n) => <p class="how">{n}</p>}
        </For>
      </div>
    </div>
  );
}

function weight(v: string | null): number {
  return v === 'shoot again' ? 3 : v === 'mendable' ? 2 : v === 'fits' ? 1 : 0;
}
