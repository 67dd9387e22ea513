/** One take of a pick: a picture of it, what can be done with it, what it lacks, and its verdict. */
import { createSignal, For, Show, type JSX } from 'solid-js';
import { isFilmed } from '../../../src/book/filmed.js';
import type { PickDocument, TakeDocument } from '../../../src/book/documents.js';
import type { BookState } from '../../../src/server/api-types.js';
import { edit, startJob } from '../api.js';
import { wellSet } from '../format.js';
import { openViewer } from '../viewer/state.js';
import { BuildJoin } from './build-join.js';
import { CleanFrame } from './clean-frame.js';
import { LayerList } from './layer-list.js';
import { TakePlace } from './loose-takes.js';
import { OutlinePart } from './outline-part.js';
import { Picture } from './picture.js';
import { QuickJoin } from './quick-join.js';
import { ScreenPart } from './screen-part.js';
import { TakeVerdict } from './verdict-word.js';
import { VerdictTable } from './verdict-table.js';

/** What lends a part to a take's join, by take: it stays chosen while another page is looked at. */
const [lending, setLending] = createSignal<Readonly<Record<string, { readonly from: string; readonly later: string }>>>(
  {},
);

export function TakeCard(props: { book: BookState; take: TakeDocument; pick: PickDocument }): JSX.Element {
  const t = () => props.take;
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
          <Show when={isFilmed(t())}>
            <button onClick={() => void startJob('verdict', t().id)}>
              {t().verdict === undefined ? 'Judge it' : 'Judge again'}
            </button>
          </Show>
          <BuildWith book={props.book} take={t()} pick={props.pick} />
        </p>
        <TakePlace book={props.book} take={t()} />
        <Show when={t().kind === 'layers'}>
          <LayerList take={t()} />
        </Show>
        <Show when={t().verdict}>
          {(x) => <VerdictTable take={t().id} verdict={x()} stale={props.book.stale.verdicts.includes(t().id)} />}
        </Show>
        <Show when={isFilmed(t()) && !v().hasAlpha}>
          <HowShot take={t()} />
        </Show>
        <For each={(t().verdict?.notes ?? []).filter((n) => !n.startsWith('not judged:'))}>
          {(n) => <p class="how">{wellSet(n)}</p>}
        </For>
      </div>
    </div>
  );
}

/** What is told of how a take was shot: screen, empty set, lens, outline. Open where the take is not judged yet. */
function HowShot(props: { take: TakeDocument }): JSX.Element {
  const [open, setOpen] = createSignal(props.take.verdict === undefined);
  return (
    <details class="how-shot" open={open()} onToggle={(e) => setOpen(e.currentTarget.open)}>
      <summary>How it was shot: screen, empty set, lens, outline</summary>
      <ScreenPart take={props.take} />
      <CleanFrame take={props.take} />
      <OutlinePart take={props.take} />
    </details>
  );
}

/** Builds the join with this take, and chooses what lends a part to it. */
function BuildWith(props: { book: BookState; take: TakeDocument; pick: PickDocument }): JSX.Element {
  const t = () => props.take;
  const lent = () => lending()[t().id] ?? { from: '', later: '0' };
  const lends = () => lent().from;
  const later = () => lent().later;
  const setLends = (from: string): void => void setLending({ ...lending(), [t().id]: { ...lent(), from } });
  const setLater = (frames: string): void => void setLending({ ...lending(), [t().id]: { ...lent(), later: frames } });
  return (
    <>
      <BuildJoin
        pick={props.pick.id}
        take={t().id}
        join={props.book.joins.find((j) => j.id === props.pick.id)}
        spec={() =>
          lends() === '' ? {} : lends() === 'plate' ? { platePatch: Number(later()) || 0 } : { patch: lends().slice(5) }
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
    </>
  );
}
