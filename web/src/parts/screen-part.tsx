/**
 * The useful part of a take's screen: proposed by the program, shown on the take's picture, taken or left by a person.
 */
import { createSignal, Show, type JSX } from 'solid-js';
import type { TakeDocument } from '../../../src/book/documents.js';
import type { Mark } from '../../../src/plate/marks/marks.js';
import type { ProposedMark } from '../../../src/plate/marks/propose-marks.js';
import { edit, frameUrl, proposeScreen } from '../api.js';
import { openViewer } from '../viewer/state.js';

type Screen = Extract<Mark, { kind: 'screen' }>;

interface Found {
  readonly proposals: readonly ProposedMark[];
  readonly why: string;
}
/** By take: what was found is to stay while another page is looked at. */
const [answers, setAnswers] = createSignal<Readonly<Record<string, Found | 'looking' | null>>>({});

export function ScreenPart(props: { take: TakeDocument }): JSX.Element {
  const state = () => answers()[props.take.id] ?? null;
  const setFound = (f: Found | 'looking' | null): void => void setAnswers({ ...answers(), [props.take.id]: f });
  const looking = () => state() === 'looking';
  const found = () => {
    const s = state();
    return s === 'looking' ? null : s;
  };
  const marks = () => props.take.marks ?? { frame: 0, marks: [] };
  const drawn = () => marks().marks.find((m): m is Screen => m.kind === 'screen');
  const proposed = () => {
    const m = found()?.proposals[0]?.mark;
    return m?.kind === 'screen' ? m : null;
  };
  const ask = async (): Promise<void> => {
    setFound('looking');
    setFound(await proposeScreen(props.take.id));
  };
  const put = (mark: Screen): Promise<unknown> =>
    edit('useful part of the screen', () => [
      {
        do: 'change',
        kind: 'take',
        id: props.take.id,
        fields: { marks: { ...marks(), marks: [...marks().marks.filter((m) => m.kind !== 'screen'), mark] } },
      },
    ]);
  const move = async (mark: Screen): Promise<void> => {
    await put(mark);
    setFound(null);
    openViewer({ what: 'take', id: props.take.id, title: props.take.title, start: mark.frame ?? 0, marking: true });
  };
  return (
    <div class="screen-part">
      <p class="controls">
        {/* Not disabled: a disabled button loses the keyboard. */}
        <button aria-disabled={looking()} onClick={() => !looking() && void ask()}>
          {looking() ? 'looking …' : 'Find the screen’s edges'}
        </button>
        <span class="pencil-note">
          {drawn() !== undefined
            ? 'the peel keeps nothing outside the marked part of the screen'
            : 'what lies outside them never belongs to the performer'}
        </span>
      </p>
      <Show when={found() !== null && proposed() === null}>
        <p class="how">{found()!.why}</p>
      </Show>
      <Show when={proposed()}>
        {(m) => (
          <ProposedScreen
            take={props.take}
            screen={m()}
            why={found()!.why}
            onTake={() => void put(m()).then(() => setFound(null))}
            onMove={() => void move(m())}
            onLeave={() => setFound(null)}
          />
        )}
      </Show>
    </div>
  );
}

/** The part as the program would mark it, over the take's middle frame, to be taken or left. */
function ProposedScreen(props: {
  take: TakeDocument;
  screen: Screen;
  why: string;
  onTake: () => void;
  onMove: () => void;
  onLeave: () => void;
}): JSX.Element {
  const size = () => props.take.info.video!;
  return (
    <figure class="mat">
      <div class="picture" style={{ 'aspect-ratio': `${size().widthPx} / ${size().heightPx}` }}>
        <img
          src={frameUrl('take', props.take.id, Math.floor(size().frameCount / 2), 720)}
          alt={`${props.take.title} with the proposed part of its screen`}
        />
        <svg viewBox={`0 0 ${size().widthPx} ${size().heightPx}`} aria-hidden="true">
          <path
            class="cut-off"
            fill-rule="evenodd"
            d={`M0 0H${size().widthPx}V${size().heightPx}H0ZM${props.screen.polygon
              .map((p) => p.join(' '))
              .join('L')}Z`}
          />
        </svg>
      </div>
      <figcaption>
        {props.why}
        <span class="controls">
          <button onClick={() => props.onTake()}>Take it</button>{' '}
          <button onClick={() => props.onMove()}>Take it and move it</button>{' '}
          <button onClick={() => props.onLeave()}>Leave it</button>
        </span>
      </figcaption>
    </figure>
  );
}
