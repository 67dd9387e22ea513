/**
 * The large viewer: a picture on neutral grey, frame by frame, held against another, with marks and what was measured
 * over it. Its keys are in keys.ts.
 */
import { onCleanup, Show, type JSX } from 'solid-js';
import { book } from '../api.js';
import { useFacts } from './facts.js';
import { Glass } from './glass.js';
import { useKeys } from './keys.js';
import { useLook } from './look.js';
import { useMarking } from './marking.js';
import { MarksPanel } from './marks-panel.js';
import { usePlayer } from './player.js';
import { usePointing } from './pointing.js';
import { useProposing } from './proposing.js';
import { TroubleNote } from '../parts/trouble-note.js';
import { closeViewer, viewer, type ViewerRequest } from './state.js';
import { ViewerBar } from './viewer-bar.js';
import { ViewerFoot } from './viewer-foot.js';

export function Viewer(): JSX.Element {
  return (
    <Show when={viewer()} keyed>
      {(v) => <Open request={v} />}
    </Show>
  );
}

function Open(props: { request: ViewerRequest }): JSX.Element {
  const v = props.request;
  // The keyboard goes back to where it was when the viewer closes.
  const opener = document.activeElement;
  onCleanup(() =>
    queueMicrotask(() => {
      if (opener instanceof HTMLElement && opener.isConnected) opener.focus();
    }),
  );
  let dialog!: HTMLDialogElement;
  let stage!: HTMLDivElement;
  let svg!: SVGSVGElement;
  const facts = useFacts(v);
  const player = usePlayer(v, facts);
  const { frame } = player;
  const look = useLook(v, facts, () => stage);
  const marking = useMarking(v, facts, frame);
  const proposing = useProposing(v, frame, marking);
  const pointing = usePointing(v, facts, frame, marking, () => svg);
  useKeys({ facts, player, look, marking, pointing });
  const measures = () => (v.what === 'plate' || v.what === 'join' ? book()?.measures[v.id] : undefined);

  return (
    <dialog
      ref={(el) => {
        dialog = el;
        queueMicrotask(() => {
          if (!dialog.open) dialog.showModal();
        });
      }}
      class="viewer"
      onClose={closeViewer}
      onCancel={(e) => e.preventDefault()}
      aria-label={v.title}
    >
      <ViewerBar request={v} facts={facts} frame={frame} look={look} marking={marking} measures={measures()} />
      <TroubleNote />
      <div
        class="stage"
        ref={stage}
        data-tool={marking.tool() !== null}
        onClick={(e) => {
          if (e.target === stage) pointing.onBeside(e);
        }}
      >
        <Glass
          request={v}
          facts={facts}
          player={player}
          look={look}
          marking={marking}
          proposing={proposing}
          pointing={pointing}
          measures={measures()}
          ref={(el) => {
            svg = el;
          }}
        />
      </div>
      <ViewerFoot facts={facts} player={player} look={look} pointing={pointing} />
      <Show when={marking.canMark()}>
        <MarksPanel
          on={v.what === 'take' ? 'take' : 'plate'}
          frame={frame}
          go={player.go}
          marking={marking}
          proposing={proposing}
        />
      </Show>
    </dialog>
  );
}
