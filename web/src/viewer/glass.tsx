/** The picture on the neutral grey: the frame, what it is held against, and what is drawn over both. */
import { createEffect, createSignal, on, Show, type JSX } from 'solid-js';
import type { PlateMeasures } from '../../../src/plate/types.js';
import { frameUrl } from '../api.js';
import { DrawnMarks } from './drawn-marks.js';
import type { Facts } from './facts.js';
import type { Look } from './look.js';
import type { Marking } from './marking.js';
import { Overlays } from './overlays.js';
import type { Player } from './player.js';
import type { Pointing } from './pointing.js';
import type { Proposing } from './proposing.js';
import type { ViewerRequest } from './state.js';

/**
 * What the glass needs of the viewer. `ref` takes the drawing over the picture, whose units are the picture's pixels.
 */
interface GlassProps {
  readonly request: ViewerRequest;
  readonly facts: Facts;
  readonly player: Player;
  readonly look: Look;
  readonly marking: Marking;
  readonly proposing: Proposing;
  readonly pointing: Pointing;
  readonly measures: PlateMeasures | undefined;
  readonly ref: (svg: SVGSVGElement) => void;
}

/** The picture that the frame is held against, wiped over it or as their difference. */
function SecondPicture(props: {
  readonly request: ViewerRequest;
  readonly player: Player;
  readonly look: Look;
}): JSX.Element {
  const { shown } = props.player;
  const { compare, wipe } = props.look;
  return (
    <Show when={compare() !== 'none' && props.request.against}>
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
  );
}

/** What lies over the picture, in the picture's pixels: what was measured, the marks, the line of the wipe. */
function DrawnOver(props: GlassProps): JSX.Element {
  const { facts, pointing } = props;
  const { frame, shown } = props.player;
  const { compare, wipe, overlays, showMarks, handleScale } = props.look;
  const { canMark, marksFile, tool } = props.marking;
  return (
    <svg
      ref={props.ref}
      viewBox={`0 0 ${facts().width} ${facts().height}`}
      onClick={pointing.onClick}
      onPointerDown={pointing.onDown}
      onPointerMove={pointing.onMove}
      onPointerUp={pointing.onUp}
      onPointerLeave={() => pointing.setAt(null)}
      data-tool={tool()?.kind ?? 'none'}
      style={{ '--hair': String(handleScale()) }}
    >
      <Show when={overlays() && props.measures}>
        {(m) => (
          <Overlays measures={m()} marks={marksFile()} frame={shown()} width={facts().width} height={facts().height} />
        )}
      </Show>
      <Show when={canMark() && showMarks()}>
        <DrawnMarks
          frame={frame}
          marking={props.marking}
          proposing={props.proposing}
          pointing={pointing}
          handleScale={handleScale}
        />
      </Show>
      <Show when={compare() === 'wipe'}>
        <line class="wipe-line" x1={wipe() * facts().width} x2={wipe() * facts().width} y1="0" y2={facts().height} />
      </Show>
    </svg>
  );
}

export function Glass(props: GlassProps): JSX.Element {
  const { request: v, facts } = props;
  const { shown, url } = props.player;
  const { zoom, size, measureGlass } = props.look;
  /** Until the first picture is there it is said that it comes; the last one stays while the next is made. */
  const [picture, setPicture] = createSignal<'comes' | 'there' | 'missing'>('comes');
  createEffect(
    on(
      () => url(shown()),
      () => {
        if (picture() === 'missing') setPicture('comes');
      },
      { defer: true },
    ),
  );
  return (
    <div
      class="sheet-of-glass"
      ref={(el) => measureGlass.observe(el)}
      style={{
        'aspect-ratio': `${facts().width} / ${facts().height}`,
        ...(zoom() === null ? { width: `min(100cqw, calc(100cqh * ${facts().width / facts().height}))` } : size()),
      }}
    >
      <Show when={picture() !== 'there'}>
        <p class="no-picture" role="status">
          {picture() === 'comes' ? 'a moment …' : 'no picture: its file can’t be read; the page below says more'}
        </p>
      </Show>
      <img
        src={url(shown())}
        alt={`${v.title}, frame ${shown()}`}
        draggable={false}
        onLoad={() => setPicture('there')}
        onError={() => setPicture('missing')}
        hidden={picture() === 'missing'}
      />
      <SecondPicture request={v} player={props.player} look={props.look} />
      <DrawnOver {...props} />
    </div>
  );
}
