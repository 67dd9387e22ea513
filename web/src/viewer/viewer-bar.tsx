/** The bar over the picture: what is shown, what it is held against, what is drawn over it, and how large. */
import { Show, type JSX } from 'solid-js';
import type { PlateMeasures } from '../../../src/plate/types.js';
import { book, undo } from '../api.js';
import type { Facts } from './facts.js';
import type { Look } from './look.js';
import type { Marking } from './marking.js';
import { closeViewer, type ViewerRequest } from './state.js';

export function ViewerBar(props: {
  readonly request: ViewerRequest;
  readonly facts: Facts;
  readonly frame: () => number;
  readonly look: Look;
  readonly marking: Marking;
  readonly measures: PlateMeasures | undefined;
}): JSX.Element {
  const { compare, toggle, overlays, setOverlays, showMarks, setShowMarks, zoom, setZoom } = props.look;
  return (
    <div class="viewer-bar">
      <strong>{props.request.title}</strong>
      <span class="number" data-testid="frame-number">
        frame {props.frame()} of {props.facts().first}–{props.facts().last}
      </span>
      <Show when={props.request.against}>
        {(a) => (
          <>
            <button aria-pressed={compare() === 'wipe'} onClick={() => toggle('wipe')}>
              Wipe to {a().title} (W)
            </button>
            <button aria-pressed={compare() === 'difference'} onClick={() => toggle('difference')}>
              Difference (D)
            </button>
          </>
        )}
      </Show>
      <Show when={props.measures}>
        <button aria-pressed={overlays()} onClick={() => setOverlays(!overlays())}>
          What was measured (O)
        </button>
      </Show>
      <Show when={props.marking.canMark()}>
        <button aria-pressed={showMarks()} onClick={() => setShowMarks(!showMarks())}>
          Marks (M)
        </button>
      </Show>
      <Show when={props.marking.canMark()}>
        <button
          title={`take back: ${book()?.history.find((h) => !h.undone)?.title ?? 'nothing'}`}
          disabled={book()?.history.every((h) => h.undone) ?? true}
          onClick={() => {
            props.marking.setChosen(null);
            void undo();
          }}
        >
          Take back
        </button>
      </Show>
      <button onClick={() => setZoom(zoom() === 1 ? null : 1)} aria-pressed={zoom() === 1}>
        1 : 1
      </button>
      <button class="close" onClick={closeViewer}>
        Close
      </button>
    </div>
  );
}
