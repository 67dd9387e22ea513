/** The kinds of lines that a cut has, each with the fields that are its own: titles, film shots and picks. */
import { createMemo, For, Show, type JSX } from 'solid-js';
import type { CutEntry } from '../../../src/book/documents.js';
import type { BookState } from '../../../src/server/api-types.js';
import type { PlacedLine } from './cut-editing.js';
import { Picture } from './picture.js';
import { followBook } from './typed-field.js';

/** A line of one kind, and what changes its fields as one edit with a title. */
export interface LineProps<K extends CutEntry['kind']> {
  readonly place: PlacedLine;
  readonly line: Extract<CutEntry, { kind: K }>;
  readonly change: (title: string, values: Partial<Record<string, unknown>>) => void;
}

/** The entry where it is of the kind, else null. */
export function of<K extends CutEntry['kind']>(e: CutEntry, kind: K): Extract<CutEntry, { kind: K }> | null {
  return e.kind === kind ? (e as Extract<CutEntry, { kind: K }>) : null;
}

/** Where the line stands in the cut, or that nothing is left of it. */
function Place(props: { readonly place: PlacedLine }): JSX.Element {
  return (
    <Show
      when={props.place.to > props.place.from}
      fallback={
        <span class="refused" role="alert">
          no frame is left of it: trim it less
        </span>
      }
    >
      <span class="pencil-note number">
        frames {props.place.from}–{props.place.to - 1}
      </span>
    </Show>
  );
}

/** A whole number, from `min` to `max`. */
function NumberField(props: {
  readonly label: string;
  readonly min: number;
  readonly max?: number;
  readonly value: number;
  readonly onChange: (v: number) => void;
}): JSX.Element {
  // A memo: a field is written only when the book says something else, not while a hand types and another line changes.
  const said = createMemo(() => props.value);
  // Memos too: an attribute that reads the line itself would still do so when a line of another kind has its place.
  const min = createMemo(() => props.min),
    max = createMemo(() => props.max);
  return (
    <label class="num">
      {props.label}
      <input
        type="number"
        min={min()}
        max={max()}
        ref={(el) => followBook(el, said)}
        onChange={(e) => {
          const asked = Math.round(Number(e.currentTarget.value) || 0),
            v = Math.max(min(), Math.min(max() ?? Infinity, asked));
          e.currentTarget.value = String(v);
          if (v !== said()) props.onChange(v);
        }}
      />
    </label>
  );
}

/** How many frames a line's sound begins before its picture and goes on after it. */
function SoundEdges(props: Omit<LineProps<'film' | 'pick'>, 'place'>): JSX.Element {
  return (
    <>
      <NumberField
        label="J edge"
        min={-240}
        value={props.line.soundLead}
        onChange={(v) => props.change('J edge', { soundLead: v })}
      />
      <NumberField
        label="L edge"
        min={-240}
        value={props.line.soundTail}
        onChange={(v) => props.change('L edge', { soundTail: v })}
      />
    </>
  );
}

/** Levels offered for the film's sound under a take's, dB. */
const UNDER_DB = [0, -6, -12, -18, -24];

/** Whether the film's own sound goes on under a take's, and how loud. */
function FilmUnder(props: Omit<LineProps<'pick'>, 'place'>): JSX.Element {
  const levels = () =>
    [...new Set([...UNDER_DB, ...(props.line.filmUnderDb === undefined ? [] : [props.line.filmUnderDb])])].sort(
      (a, b) => b - a,
    );
  return (
    <label class="num">
      the film's under it{' '}
      <select
        value={props.line.filmUnderDb ?? 'none'}
        onChange={(x) => {
          const level = x.currentTarget.value;
          props.change("the film's sound under it", { filmUnderDb: level === 'none' ? undefined : Number(level) });
        }}
      >
        <option value="none">none</option>
        <For each={levels()}>{(dB) => <option value={dB}>{dB} dB</option>}</For>
      </select>
    </label>
  );
}

/** A title: its words and how long it stands. */
export function TitleLine(props: LineProps<'title'>): JSX.Element {
  const said = createMemo(() => props.line.lines.join(' / '));
  return (
    <>
      <div class="card-words">
        <For each={props.line.lines}>{(l) => <span>{l}</span>}</For>
      </div>
      <div class="line-words">
        <p class="line-head">
          <strong>Title</strong> <Place place={props.place} />
        </p>
        <label>
          words{' '}
          <input
            type="text"
            ref={(el) => followBook(el, said)}
            onChange={(x) =>
              props.change('reword a title', {
                lines: x.currentTarget.value
                  .split('/')
                  .map((s) => s.trim())
                  .filter((s) => s !== ''),
              })
            }
          />
        </label>
        <NumberField
          label="frames"
          min={1}
          value={props.line.frames}
          onChange={(v) => props.change('title length', { frames: v })}
        />
      </div>
    </>
  );
}

/** A part of the film as it is. */
export function FilmShotLine(props: LineProps<'film'> & { readonly book: BookState }): JSX.Element {
  const all = () => props.book.films.find((f) => f.id === props.line.film)?.info.video?.frameCount ?? props.line.out;
  return (
    <>
      <Picture
        source={{ what: 'film', id: props.line.film, title: 'film', in: props.line.in, out: props.line.out }}
        frame={props.line.in}
        width={240}
        alt={`film from ${props.line.in}`}
      />
      <div class="line-words">
        <p class="line-head">
          <strong>Film shot, as it is</strong> <Place place={props.place} />
        </p>
        <NumberField
          label="in"
          min={0}
          max={props.line.out - 1}
          value={props.line.in}
          onChange={(v) => props.change('film shot in', { in: v })}
        />
        <NumberField
          label="out"
          min={props.line.in + 1}
          max={all()}
          value={props.line.out}
          onChange={(v) => props.change('film shot out', { out: v })}
        />
        <SoundEdges line={props.line} change={props.change} />
      </div>
    </>
  );
}

/** A pick: its join, or what stands in for it, and how it is trimmed. */
export function PickLine(props: LineProps<'pick'> & { readonly book: BookState }): JSX.Element {
  const pick = () => props.book.picks.find((x) => x.id === props.line.pick);
  const length = () => (pick() === undefined ? 0 : pick()!.out - pick()!.in);
  const join = () => props.book.joins.find((j) => j.id === props.line.pick);
  /** Whether a part of another take is laid onto the join's: its mouth speaks that take's line. */
  const speaks = () => join()?.recipe.steps.some((s) => s.step === 'patch' && s.on && (s.onto ?? 'take') === 'take');
  return (
    <>
      <Picture
        source={
          join()?.render === undefined
            ? { what: 'plate', id: props.line.pick, title: pick()?.title ?? props.line.pick }
            : {
                what: 'join',
                id: props.line.pick,
                title: pick()?.title ?? props.line.pick,
                version: join()!.render!.at,
              }
        }
        frame={props.line.trimIn}
        width={240}
        alt={pick()?.title ?? props.line.pick}
      />
      <div class="line-words">
        <p class="line-head">
          <strong>
            <a href={`#/sheet/${props.line.pick}`}>{pick()?.title ?? `missing pick ${props.line.pick}`}</a>
          </strong>{' '}
          <span class="pencil-note">{join()?.render === undefined ? 'stand-in' : 'join'}</span>{' '}
          <Place place={props.place} />
        </p>
        <NumberField
          label="cut from head"
          min={0}
          max={Math.max(0, length() - props.line.trimOut - 1)}
          value={props.line.trimIn}
          onChange={(v) => props.change('trim head', { trimIn: v })}
        />
        <NumberField
          label="cut from tail"
          min={0}
          max={Math.max(0, length() - props.line.trimIn - 1)}
          value={props.line.trimOut}
          onChange={(v) => props.change('trim tail', { trimOut: v })}
        />
        <SoundEdges line={props.line} change={props.change} />
        <label class="num">
          sound{' '}
          <select
            value={props.line.soundFrom}
            onChange={(x) => props.change('choose sound', { soundFrom: x.currentTarget.value })}
          >
            <option value="film">of the film</option>
            <option value="take">of the take</option>
            <Show when={speaks() || props.line.soundFrom === 'patch'}>
              <option value="patch">of the take whose part is laid on</option>
            </Show>
            <option value="none">none</option>
          </select>
        </label>
        <Show when={props.line.soundFrom === 'take' || props.line.soundFrom === 'patch'}>
          <FilmUnder line={props.line} change={props.change} />
        </Show>
      </div>
    </>
  );
}
