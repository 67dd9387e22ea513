/** The join on a pick's sheet: pictures of what was rendered, rendering it again, and the recipe's steps. */
import { For, Show, type JSX } from 'solid-js';
import type { JoinDocument, PickDocument } from '../../../src/book/documents.js';
import type { BookState } from '../../../src/server/api-types.js';
import { startJob } from '../api.js';
import { StepList } from '../pages/step-list.js';
import { Picture } from './picture.js';
import { PacePart } from './pace-part.js';
import { TakeStartPart } from './take-start-part.js';

export function JoinPart(props: { book: BookState; pick: PickDocument; ratio: number }): JSX.Element {
  const join = () => props.book.joins.find((j) => j.id === props.pick.id);
  /** The join's take where it has frames to begin with. */
  const playedTake = (j: JoinDocument) =>
    j.recipe.take.out - j.recipe.take.in > 1
      ? props.book.takes.find((t) => t.id === j.take && t.kind !== 'layers')
      : undefined;
  return (
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
                          ratio={props.ratio}
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
            <Show when={playedTake(j())}>
              {(take) => (
                <>
                  <TakeStartPart pick={props.pick} join={j()} take={take()} ratio={props.ratio} />
                  <PacePart pick={props.pick} join={j()} take={take()} measures={props.book.measures[props.pick.id]} />
                </>
              )}
            </Show>
            <StepList pick={props.pick} join={j()} ratio={props.ratio} />
          </>
        )}
      </Show>
    </section>
  );
}
