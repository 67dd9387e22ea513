/** The plate's grain beside the same grain grown again, with how strong each is. */
import { createResource, Show, type JSX } from 'solid-js';
import { grainPair } from '../api.js';

export function GrainPair(props: { pick: string; stamp: number }): JSX.Element {
  const [pair] = createResource(
    () => [props.pick, props.stamp] as const,
    ([pick]) => grainPair(pick, 0),
  );
  const share = (sd: number): string => `${(100 * sd).toFixed(2)} %`;
  return (
    <Show when={pair()}>
      {(p) => (
        <figure class="grain-pair">
          <img src={p().picture} alt="the plate's grain, and the same grain grown again" />
          <figcaption>
            left: the plate's grain on its calmest patch, {share(p().sd[0])} of the coded range (sd), at {p().at[0]},{' '}
            {p().at[1]} px of frame 0 · right: grown again from the measure, {share(p().sd[1])} · both magnified and
            spread alike.{' '}
            {p().sd[0] > 2 * p().sd[1]
              ? 'Left is more than twice the stronger: this frame has no plain patch, and what shows there is texture. '
              : ''}
            Compression takes grain from calm patches: where right is much the stronger, compare a rougher part before
            trusting either.
          </figcaption>
        </figure>
      )}
    </Show>
  );
}
