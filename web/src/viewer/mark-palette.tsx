/** The tools for marks, together by the question they answer, and what the one in hand wants. */
import { For, Show, type JSX } from 'solid-js';
import type { Mark } from '../../../src/plate/marks/marks.js';
import { TOOL_GROUPS, TOOLS, type MarkTool } from './mark-tools.js';

interface Props {
  readonly on: 'plate' | 'take';
  readonly marks: readonly Mark[];
  readonly tool: MarkTool | null;
  readonly onTool: (t: MarkTool | null) => void;
  /** Points put so far, and the frame they are on. */
  readonly points: number;
  readonly frame: number;
  readonly number: string;
  /** Whether the tool in hand has put a mark already. */
  readonly put: boolean;
  readonly onNumber: (text: string) => void;
  readonly onFinish: (t: MarkTool) => void;
  readonly looking: boolean;
  readonly onPropose: () => void;
}

const ASKS = {
  height: ['its height, m', 'height of the next one, m'],
  later: ['frames later', 'frames later, of the next one'],
  yaw: ['yaw, °', 'yaw of the next one, °'],
} as const;

/** What the tool in hand wants: points, a number, or nothing but to be put down. */
function ToolInHand(props: { tool: MarkTool; of: Props }): JSX.Element {
  return (
    <span class="hint">
      {props.tool.hint}
      <Show when={props.tool.points !== 0}>
        {' '}
        <small>(or arrow keys and space bar)</small>
      </Show>
      <Show when={props.tool.asks}>
        {(asks) => (
          <>
            {' '}
            <label>
              {ASKS[asks()][props.of.put ? 1 : 0]}{' '}
              <input
                type="text"
                inputmode="decimal"
                size="5"
                value={props.of.number}
                onInput={(e) => props.of.onNumber(e.currentTarget.value)}
              />
            </label>
          </>
        )}
      </Show>
      <Show when={props.tool.points === null}>
        {' '}
        <button disabled={props.of.points < 3} onClick={() => props.of.onFinish(props.tool)}>
          Close the outline (Enter)
        </button>
      </Show>
      <Show when={props.tool.points === 0}>
        {' '}
        <button onClick={() => props.of.onFinish(props.tool)}>Put it on frame {props.of.frame}</button>
      </Show>
    </span>
  );
}

export function MarkPalette(props: Props): JSX.Element {
  const groups = () =>
    TOOL_GROUPS.map((about) => ({
      about,
      tools: TOOLS.filter((t) => t.about === about && (t.on ?? props.on) === props.on),
    })).filter((g) => g.tools.length > 0);
  const placed = () =>
    props.marks.some((m) => (props.on === 'plate' ? m.kind === 'stand' || m.kind === 'carry' : m.kind === 'performer'));
  /** What to begin with, while nothing is in hand. */
  const first = () =>
    props.on === 'plate'
      ? 'begin with where the performer goes: “stands here”, or “rides on” for what carries it'
      : 'the performer is looked for by itself; “performer” says surely where its feet and its top are';
  return (
    <div class="tools" role="toolbar" aria-label="Marks">
      {/* On a small screen the tools scroll and what is said about the one in hand stays. */}
      <div class="tool-groups">
        {/* Not disabled while it looks: a disabled button loses the keyboard. */}
        <button
          aria-busy={props.looking}
          onClick={() => {
            if (!props.looking) props.onPropose();
          }}
        >
          {props.looking ? 'Looking…' : 'Propose marks'}
        </button>
        <For each={groups()}>
          {(g) => (
            <span class="tool-group" role="group" aria-label={g.about}>
              <small>{g.about}</small>
              <For each={g.tools}>
                {(t) => (
                  <button
                    title={t.hint}
                    aria-pressed={props.tool?.label === t.label}
                    onClick={() => props.onTool(props.tool?.label === t.label ? null : t)}
                  >
                    {t.label}
                  </button>
                )}
              </For>
            </span>
          )}
        </For>
      </div>
      <div class="in-hand">
        <Show
          when={props.tool}
          fallback={
            <Show when={!placed()}>
              <span class="hint">{first()}</span>
            </Show>
          }
        >
          {(t) => <ToolInHand tool={t()} of={props} />}
        </Show>
      </div>
    </div>
  );
}
