/**
 * What the inspection read: what shows first, in the order in which to mend it, then
 * what passes, then what can't be told.
 */
import { For, Show, type JSX } from 'solid-js';
import { spacedWords } from '../../../src/core/spaced-words.js';
import type { Inspection, InspectionMatter } from '../../../src/inspect/types.js';
import { inspected, unit, wellSet } from '../format.js';
import { openViewer } from '../viewer/state.js';
import { JoinMatter } from './matter-name.js';
import { VerdictWord } from './verdict-word.js';

/** What to do where it fails, why it was not read, or what its passing does not tell. */
function lastWords(m: InspectionMatter): string {
  if (m.passes === false) return `${m.step}: ${m.advice}`;
  if (m.value === null) return m.reason ?? '';
  return m.untold === undefined ? '' : `not told by this picture: ${m.untold}`;
}

export function InspectionTable(props: { inspection: Inspection; pick: string }): JSX.Element {
  const found = () => props.inspection.found ?? [];
  const place = (m: InspectionMatter): number =>
    m.passes === false ? found().indexOf(m.matter) + 1 || 90 : m.passes === true ? 100 : 200;
  /** What shows first, where, and what to change. */
  const sentence = (): string => {
    const m = props.inspection.matters.find((q) => q.matter === found()[0]);
    if (m === undefined) return 'The join shows; the steps to change stand beside each matter.';
    return (
      `Begin with ${spacedWords(m.matter)}, ` +
      `in the ${m.step === 'render' ? 'writing of the file' : `${m.step} step`}` +
      `${m.worstFrame === null ? '' : `, worst on frame ${m.worstFrame}`}: ` +
      `${m.advice}.${found().length > 1 ? ' Then look again: others may go with it.' : ''}`
    );
  };
  return (
    <>
      <p>
        <VerdictWord word={props.inspection.passes ? 'does not show' : 'shows'} small />{' '}
        {props.inspection.passes ? 'The join does not show by any of these measures.' : sentence()}
      </p>
      <table class="matters inspected">
        <thead>
          <tr>
            <th scope="col">matter</th>
            <th scope="col">value</th>
            <th scope="col">needed</th>
            <th scope="col">worst frame</th>
            <th scope="col">step to change</th>
          </tr>
        </thead>
        <tbody>
          <For each={[...props.inspection.matters].sort((a, b) => place(a) - place(b))}>
            {(m) => (
              <tr data-verdict={m.passes === null ? 'open' : m.passes ? 'fits' : 'shoot again'}>
                <JoinMatter name={m.matter} />
                <td>{m.value === null ? '–' : wellSet(inspected(m.value, m.sd, m.unit))}</td>
                <td>{wellSet(m.needed ?? `${Number(m.limit.toFixed(3))}${unit(m.unit)}`)}</td>
                <td>
                  <Show when={m.worstFrame !== null} fallback="–">
                    <button
                      title={
                        m.worstBox === undefined
                          ? undefined
                          : `worst from ${m.worstBox[0]} to ${m.worstBox[2]} across and ${m.worstBox[1]} ` +
                            `to ${m.worstBox[3]} down, pixels of the picture`
                      }
                      aria-label={`frame ${m.worstFrame}, worst for ${spacedWords(m.matter)}`}
                      onClick={() =>
                        openViewer({
                          what: 'join',
                          id: props.pick,
                          title: 'join',
                          start: m.worstFrame!,
                          against: { what: 'plate', id: props.pick, title: 'plate' },
                        })
                      }
                    >
                      {m.worstFrame}
                    </button>
                  </Show>
                </td>
                <td>{wellSet(lastWords(m))}</td>
              </tr>
            )}
          </For>
        </tbody>
      </table>
    </>
  );
}
