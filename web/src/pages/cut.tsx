/** The cut as a written order of lines: what comes after what, how much of it, whose sound. */
import { createMemo, For, Index, Match, Show, Switch, type JSX } from 'solid-js';
import type { BookState } from '../../../src/server/api-types.js';
import type { CutDocument, CutEntry } from '../../../src/book/documents.js';
import { CREDIT_FRAMES, creditCards } from '../../../src/cut/credits.js';
import { rateOf, rateWords, when } from '../format.js';
import { edit, startJob } from '../api.js';
import { ById } from '../parts/by-id.js';
import { CutWords, FilmLine } from '../parts/cut-words.js';
import { Picture } from '../parts/picture.js';

function starting(book: BookState): CutDocument {
  return (
    book.cut ?? {
      id: 'cut',
      music: null,
      captions: [],
      credits: [],
      thanks: [],
      entries: [
        { kind: 'title', lines: [book.production.title], frames: 48 },
        ...book.picks.map((p) => ({
          kind: 'pick' as const,
          pick: p.id,
          trimIn: 0,
          trimOut: 0,
          soundLead: 0,
          soundTail: 0,
          soundFrom: 'film' as const,
        })),
      ],
    }
  );
}

export function CutPage(props: { book: BookState }): JSX.Element {
  const cut = () => starting(props.book);
  const put = (title: string, change: (entries: readonly CutEntry[]) => readonly CutEntry[]): void =>
    void edit(title, () => [{ do: 'put', kind: 'cut', document: { ...cut(), entries: change(cut().entries) } }]);
  const change = (i: number, title: string, values: Partial<Record<string, unknown>>): void =>
    put(title, (entries) => entries.map((e, k) => (k === i ? ({ ...e, ...values } as CutEntry) : e)));
  const move = (i: number, by: number): void => {
    put('reorder the cut', (entries) => {
      const list = [...entries];
      const j = i + by;
      if (list[i] !== undefined && list[j] !== undefined) [list[i], list[j]] = [list[j]!, list[i]!];
      return list;
    });
  };
  // Each line runs at the rate of its own film; titles and the cards at the end at the production's.
  const ofFilm = (id: string | undefined): string | undefined => {
    const r = props.book.films.find((f) => f.id === id)?.info.video?.rate;
    return r === undefined ? undefined : `${r.num}/${r.den}`;
  };
  const secondsOf = (frames: number, rate = props.book.production.rate): number => {
    const r = rateOf(rate);
    return (frames * r.den) / r.num;
  };
  const length = (e: CutEntry): number => {
    if (e.kind === 'title') return secondsOf(e.frames);
    if (e.kind === 'film') return secondsOf(e.out - e.in, ofFilm(e.film));
    const p = props.book.picks.find((x) => x.id === e.pick);
    return p === undefined ? 0 : secondsOf(p.out - p.in - e.trimIn - e.trimOut, ofFilm(p.film));
  };
  const endCards = () => creditCards(cut()).length;
  const total = () => cut().entries.reduce((s, e) => s + length(e), secondsOf(CREDIT_FRAMES * endCards()));
  // The reel first, then the reveal: each name is delivered anew in its place.
  const delivered = () =>
    [...props.book.deliveries].sort(
      (a, b) => Number(a.id === 'reveal') - Number(b.id === 'reveal') || b.at.localeCompare(a.at),
    );
  // Memos: a field is written only when the book says something else, not while a hand types and another line changes.
  const number = (value: () => number, min: number, label: string, on: (v: number) => void): JSX.Element => {
    const said = createMemo(value);
    return (
      <label class="num">
        {label}
        <input
          type="number"
          min={min}
          value={said()}
          onChange={(e) => on(Math.max(min, Math.round(Number(e.currentTarget.value) || 0)))}
        />
      </label>
    );
  };
  return (
    <>
      <section>
        <h2>The cut</h2>
        <p class="pencil-note">
          {cut().entries.length === 1 ? '1 line' : `${cut().entries.length} lines`},{' '}
          {endCards() === 0 ? '' : endCards() === 1 ? 'a card of credits, ' : `${endCards()} cards of credits, `}
          {total().toFixed(1)} s at {rateWords(props.book.production.rate)}. A pick without a join shows its film shot
          until the join is there. J and L edges: frames that the sound begins before, or goes on after, its picture.
        </p>
        <ol class="cut-lines">
          <Index each={cut().entries}>
            {(entry, i) => (
              <li class="cut-line">
                <Switch>
                  <Match when={of(entry(), 'title')}>
                    {(t) => {
                      const said = createMemo(() => t().lines.join(' / '));
                      return (
                        <>
                          <div class="card-words">
                            <For each={t().lines}>{(l) => <span>{l}</span>}</For>
                          </div>
                          <div class="line-words">
                            <p class="line-head">
                              <strong>Title</strong>
                            </p>
                            <label>
                              words{' '}
                              <input
                                type="text"
                                value={said()}
                                onChange={(x) =>
                                  change(i, 'reword a title', {
                                    lines: x.currentTarget.value
                                      .split('/')
                                      .map((s) => s.trim())
                                      .filter((s) => s !== ''),
                                  })
                                }
                              />
                            </label>
                            {number(
                              () => t().frames,
                              1,
                              'frames',
                              (v) => change(i, 'title length', { frames: v }),
                            )}
                          </div>
                        </>
                      );
                    }}
                  </Match>
                  <Match when={of(entry(), 'film')}>
                    {(f) => (
                      <>
                        <Picture
                          source={{ what: 'film', id: f().film, title: 'film', in: f().in, out: f().out }}
                          frame={f().in}
                          width={240}
                          alt={`film from ${f().in}`}
                        />
                        <div class="line-words">
                          <p class="line-head">
                            <strong>Film shot, as it is</strong>
                          </p>
                          {number(
                            () => f().in,
                            0,
                            'in',
                            (v) => change(i, 'film shot in', { in: v }),
                          )}
                          {number(
                            () => f().out,
                            1,
                            'out',
                            (v) => change(i, 'film shot out', { out: v }),
                          )}
                          {number(
                            () => f().soundLead,
                            -240,
                            'J edge',
                            (v) => change(i, 'J edge', { soundLead: v }),
                          )}
                          {number(
                            () => f().soundTail,
                            -240,
                            'L edge',
                            (v) => change(i, 'L edge', { soundTail: v }),
                          )}
                        </div>
                      </>
                    )}
                  </Match>
                  <Match when={of(entry(), 'pick')}>
                    {(p) => {
                      const pick = () => props.book.picks.find((x) => x.id === p().pick);
                      const join = () => props.book.joins.find((j) => j.id === p().pick);
                      return (
                        <>
                          <Picture
                            source={
                              join()?.render === undefined
                                ? { what: 'plate', id: p().pick, title: pick()?.title ?? p().pick }
                                : {
                                    what: 'join',
                                    id: p().pick,
                                    title: pick()?.title ?? p().pick,
                                    version: join()!.render!.at,
                                  }
                            }
                            frame={p().trimIn}
                            width={240}
                            alt={pick()?.title ?? p().pick}
                          />
                          <div class="line-words">
                            <p class="line-head">
                              <strong>
                                <a href={`#/sheet/${p().pick}`}>{pick()?.title ?? `missing pick ${p().pick}`}</a>
                              </strong>{' '}
                              <span class="pencil-note">{join()?.render === undefined ? 'stand-in' : 'join'}</span>
                            </p>
                            {number(
                              () => p().trimIn,
                              0,
                              'cut from head',
                              (v) => change(i, 'trim head', { trimIn: v }),
                            )}
                            {number(
                              () => p().trimOut,
                              0,
                              'cut from tail',
                              (v) => change(i, 'trim tail', { trimOut: v }),
                            )}
                            {number(
                              () => p().soundLead,
                              -240,
                              'J edge',
                              (v) => change(i, 'J edge', { soundLead: v }),
                            )}
                            {number(
                              () => p().soundTail,
                              -240,
                              'L edge',
                              (v) => change(i, 'L edge', { soundTail: v }),
                            )}
                            <label>
                              sound{' '}
                              <select
                                value={p().soundFrom}
                                onChange={(x) => change(i, 'choose sound', { soundFrom: x.currentTarget.value })}
                              >
                                <option value="film">of the film</option>
                                <option value="take">of the take</option>
                                <option value="none">none</option>
                              </select>
                            </label>
                          </div>
                        </>
                      );
                    }}
                  </Match>
                </Switch>
                <span class="order">
                  <button aria-label="Move this line up" disabled={i === 0} onClick={() => move(i, -1)}>
                    Up
                  </button>
                  <button
                    aria-label="Move this line down"
                    disabled={i === cut().entries.length - 1}
                    onClick={() => move(i, 1)}
                  >
                    Down
                  </button>
                  <button
                    aria-label="Take this line out"
                    onClick={() => put('take a line out of the cut', (entries) => entries.filter((_, k) => k !== i))}
                  >
                    Out
                  </button>
                </span>
              </li>
            )}
          </Index>
        </ol>
        <Show when={props.book.films.length > 0}>
          <FilmLine
            book={props.book}
            onAdd={(film, from, to) =>
              put('add a film shot', (entries) => [
                ...entries,
                { kind: 'film', film, in: from, out: to, soundLead: 0, soundTail: 0 },
              ])
            }
          />
        </Show>
        <p class="controls">
          <button
            onClick={() => put('add a title', (entries) => [...entries, { kind: 'title', lines: ['…'], frames: 48 }])}
          >
            Add a title
          </button>
          <For each={props.book.picks.filter((p) => !cut().entries.some((e) => e.kind === 'pick' && e.pick === p.id))}>
            {(p) => (
              <button
                onClick={() =>
                  put(`add ${p.title}`, (entries) => [
                    ...entries,
                    { kind: 'pick', pick: p.id, trimIn: 0, trimOut: 0, soundLead: 0, soundTail: 0, soundFrom: 'film' },
                  ])
                }
              >
                Add {p.title}
              </button>
            )}
          </For>
        </p>
      </section>
      <CutWords cut={cut()} />
      <section>
        <h2>Deliveries</h2>
        <p class="controls">
          <button onClick={() => void startJob('deliver', '')}>Deliver</button>
          <button onClick={() => void startJob('deliver', '', { master: false })}>Web file only</button>
          <button onClick={() => void startJob('reveal', '')}>Make the reveal</button>
        </p>
        <ById each={delivered()} fallback={<p class="lead">Nothing delivered yet.</p>}>
          {(x) => (
            <>
              <h3>
                {x().id === 'reveal' ? 'The reveal' : 'The reel'} <span class="pencil-note">{when(x().at)}</span>
              </h3>
              <For
                each={x()
                  .files.map((f, i) => [f, i] as const)
                  .filter(([f]) => f.endsWith('.mp4'))}
              >
                {([f, i]) => (
                  <video
                    class="reel"
                    controls
                    preload="metadata"
                    src={`/api/delivery/${x().id}/${i}?v=${encodeURIComponent(x().at)}`}
                    aria-label={f}
                  />
                )}
              </For>
              <Show when={reportOf(x())?.loudness}>
                {(l) => (
                  <p>
                    Loudness {l().integratedLufs?.toFixed(1) ?? '–'} LUFS, true peak{' '}
                    {l().truePeakDbtp?.toFixed(1) ?? '–'} dBTP, range {l().rangeLu?.toFixed(1) ?? '–'} LU.{' '}
                    {reportOf(x())?.flash === undefined
                      ? ''
                      : reportOf(x())!.flash!.passes
                        ? `Flashes: at most ${reportOf(x())!.flash!.worst.general.flashes} in a second, ` +
                          'within ITU-R BT.1702 (limit 3).'
                        : 'Too many flashes in a second (ITU-R BT.1702): slow them down or make them smaller.'}
                  </p>
                )}
              </Show>
              <ul class="files">
                <For each={x().files}>
                  {(f, i) => (
                    <li>
                      <a href={`/api/delivery/${x().id}/${i()}`}>{f.split('/').pop()}</a>
                    </li>
                  )}
                </For>
              </ul>
            </>
          )}
        </ById>
      </section>
    </>
  );
}

/** What a delivery was found to hold; the reveal has less. */
interface Report {
  readonly loudness?: {
    readonly integratedLufs: number | null;
    readonly truePeakDbtp: number | null;
    readonly rangeLu: number | null;
  };
  readonly flash?: { readonly passes: boolean; readonly worst: { readonly general: { readonly flashes: number } } };
}
const reportOf = (d: BookState['deliveries'][number]): Report | undefined => d.report as Report | undefined;

function of<K extends CutEntry['kind']>(e: CutEntry, kind: K): Extract<CutEntry, { kind: K }> | null {
  return e.kind === kind ? (e as Extract<CutEntry, { kind: K }>) : null;
}
