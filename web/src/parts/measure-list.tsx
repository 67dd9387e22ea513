/** Measures as a person reads them: value with its uncertainty, from where, and what would make it better. */
import { For, Show, type JSX } from 'solid-js';
import { amount, wellSet } from '../format.js';
import { gathered, type Named } from './gather-measures.js';

export function MeasureList(props: { title: string; items: readonly Named[]; children?: JSX.Element }): JSX.Element {
  return (
    <section class="measures">
      <h3>{props.title}</h3>
      <dl>
        <For each={gathered(props.items)}>
          {(i) => (
            <div
              class="measure"
              data-known={i.measure?.value !== null && i.measure !== undefined && i.measure !== null}
            >
              <dt>{i.name}</dt>
              <dd>
                <Show when={i.measure} fallback={<span class="unknown">{i.absent ?? 'not measured yet'}</span>}>
                  {(m) => (
                    <>
                      <Show
                        when={m().value !== null}
                        fallback={<span class="unknown">{wellSet(m().reason ?? '')}</span>}
                      >
                        <span class="number">{amount(m().value!, m().sd, i.share === true ? '1' : m().unit)}</span>
                      </Show>
                      <Show when={m().priorLed}>
                        <span class="pencil-note">mostly a usual value, not the picture</span>
                      </Show>
                      <Show when={m().how !== '' || m().frames}>
                        <span class="how">
                          {wellSet(m().how)}
                          {m().frames
                            ? m().frames![0] === m().frames![1]
                              ? ` · frame ${m().frames![0]}`
                              : ` · frames ${m().frames![0]}–${m().frames![1]}`
                            : ''}
                        </span>
                      </Show>
                      <Show when={m().wouldHelp}>
                        <span class="pencil-note">would help: {wellSet(m().wouldHelp!)}</span>
                      </Show>
                    </>
                  )}
                </Show>
              </dd>
            </div>
          )}
        </For>
      </dl>
      {props.children}
    </section>
  );
}
