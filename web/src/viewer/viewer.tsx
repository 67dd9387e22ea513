/**
 * The large viewer: a picture on neutral grey, frame by frame, held against another, with marks and what was measured
 * over it. Its keys are in keys.ts.
 */
import { onCleanup, Show, type JSX } from 'solid-js';
import { book, frameUrl } from '../api.js';
import { DrawnMarks } from './drawn-marks.js';
import { useFacts } from './facts.js';
import { useKeys } from './keys.js';
import { useLook } from './look.js';
import { useMarking } from './marking.js';
import { MarksPanel } from './marks-panel.js';
import { Overlays } from './overlays.js';
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
  const { frame, shown, url } = player;
  const look = useLook(v, facts, () => stage);
  const { zoom, size, compare, wipe, overlays, showMarks, handleScale, measureGlass } = look;
  const marking = useMarking(v, facts, frame);
  const { canMark, marksFile, tool } = marking;
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
      <div class="stage" ref={stage}>
        <div
          class="sheet-of-glass"
          ref={(el) => measureGlass.observe(el)}
          style={{
            'aspect-ratio': `${facts().width} / ${facts().height}`,
            ...(zoom() === null ? { width: `min(100cqw, calc(100cqh * ${facts().width / facts().height}))` } : size()),
          }}
        >
          <img src={url(shown())} alt={`${v.title}, frame ${shown()}`} draggable={false} />
          <Show when={compare() !== 'none' && v.against}>
            {(a) => (
              <img
                class={compare() === 'difference' ? 'second difference' : 'second'}
                style={{ 'clip-path': compare() === 'wipe' ? `inset(0 0 0 ${wipe() * 100}%)` : 'none' }}
                src={frameUrl(a().what, a().id, shown())}
                alt={`${a().title}, frame ${shown()}`}
                draggable={false}
              />
            )}
          </Show>
          <svg
            ref={svg}
            viewBox={`0 0 ${facts().width} ${facts().height}`}
            onClick={pointing.onClick}
            onPointerDown={pointing.onDown}
            onPointerMove={pointing.onMove}
            onPointerUp={pointing.onUp}
            onPointerLeave={() => pointing.setAt(null)}
            data-tool={tool()?.kind ?? 'none'}
            style={{ '--hair': String(handleScale()) }}
          >
            <Show when={overlays() && measures()}>
              {(m) => (
                <Overlays
                  measures={m()}
                  marks={marksFile()}
                  frame={shown()}
                  width={facts().width}
                  height={facts().height}
                />
              )}
            </Show>
            <Show when={canMark() && showMarks()}>
              <DrawnMarks
                frame={frame}
                marking={marking}
                proposing={proposing}
                pointing={pointing}
                handleScale={handleScale}
              />
            </Show>
            <Show when={compare() === 'wipe'}>
              <line
                class="wipe-line"
                x1={wipe() * facts().width}
                x2={wipe() * facts().width}
                y1="0"
                y2={facts().height}
              />
            </Show>
          </svg>
        </div>
      </div>
      <ViewerFoot facts={facts} player={player} look={look} pointing={pointing} />
      <Show when={canMark()}>
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
