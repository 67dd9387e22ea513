/** All measures of a plate by what they tell of: camera, light, room, stir, ride and turn, look. */
import { For, Show, type JSX } from 'solid-js';
import { rounded } from '../../../src/core/amount.js';
import type { PlateMeasures } from '../../../src/plate/types.js';
import { wellSet } from '../format.js';
import { GrainPair } from './grain-pair.js';
import { MeasureList } from './measure-list.js';

/** @param props.pick whose plate it is */
export function MeasureColumns(props: { m: PlateMeasures; pick: string }): JSX.Element {
  return (
    <div class="measure-columns">
      <MeasureList
        title="Camera"
        items={[
          {
            name: 'focal length',
            measure: props.m.view?.focalPx ?? props.m.camera?.focalPx,
            absent: noteOf(props.m, 'view'),
          },
          { name: 'tilt', measure: props.m.view?.tiltDeg, absent: noteOf(props.m, 'view') },
          { name: 'roll', measure: props.m.view?.rollDeg, absent: noteOf(props.m, 'view') },
          { name: 'height', measure: props.m.view?.cameraHeight, absent: noteOf(props.m, 'view') },
          ...(props.m.travel === undefined ? [] : [{ name: 'way over the ground', measure: props.m.travel!.way }]),
        ]}
      >
        <p class="how">
          move: {props.m.camera?.move ?? noteOf(props.m, 'camera') ?? 'not measured'}
          {props.m.camera?.shake ? `, shake ${props.m.camera!.shake!.rmsPx.toFixed(2)} px` : ''}
          {props.m.view ? `; marks agree within ${props.m.view!.residualPx.toFixed(2)} px` : ''}
        </p>
        <For each={props.m.view?.notes ?? []}>{(n) => <p class="how">{wellSet(n)}</p>}</For>
      </MeasureList>
      <MeasureList
        title="Light"
        items={[
          { name: 'azimuth of the key', measure: props.m.light?.azimuthDeg },
          { name: 'elevation', measure: props.m.light?.elevationDeg },
          { name: 'key to fill', measure: props.m.light?.keyFillStops },
          { name: 'softness', measure: props.m.light?.softnessDeg },
          { name: 'colour temperature', measure: props.m.light?.temperatureK },
        ]}
      >
        <For each={props.m.light?.notes ?? []}>{(n) => <p class="how">{n}</p>}</For>
      </MeasureList>
      <RoomList m={props.m} />
      <StirList m={props.m} />
      <RideAndTurn m={props.m} />
      <MeasureList
        title="Look"
        items={[
          { name: 'edge spread', measure: props.m.look?.edgeSpreadPx },
          { name: 'sharpness, MTF50', measure: props.m.look?.mtf50 },
          { name: 'motion blur', measure: props.m.look?.motionBlur.lengthPx },
          { name: 'shutter', measure: props.m.look?.motionBlur.shutterDeg },
          { name: 'grain size', measure: props.m.look?.grain.correlationPx },
          { name: 'haze', measure: props.m.look?.haze.amount },
        ]}
      >
        <Show when={(props.m.look?.grain.table.length ?? 0) > 0}>
          <GrainPair pick={props.pick} stamp={props.m.span.out} />
        </Show>
      </MeasureList>
    </div>
  );
}

function RoomList(props: { m: PlateMeasures }): JSX.Element {
  return (
    <MeasureList
      title="Room"
      items={[
        { name: 'ground for the performer', measure: props.m.room?.ground },
        { name: 'performer in the picture', measure: props.m.room?.performerHeightPx },
        { name: 'to erase', measure: props.m.room?.eraseShare, share: true },
        { name: 'supplied by other frames', measure: props.m.room?.suppliedShare, share: true },
      ]}
    >
      <Show when={props.m.room}>
        {(r) => (
          <p class="how">
            <Show when={widened(props.m) !== ''}>to be widened by {widened(props.m)}. </Show>about{' '}
            {Math.round(r().effort.minutes)} min: {r().effort.reasons.join('; ')}
          </p>
        )}
      </Show>
    </MeasureList>
  );
}

function StirList(props: { m: PlateMeasures }): JSX.Element {
  return (
    <Show
      when={props.m.stir}
      fallback={
        <section class="measures">
          <h3>Stir</h3>
          <p class="how">
            {noteOf(props.m, 'stir') ??
              'nothing is marked that could stir; would help: ' +
                'a mark round what stirs (hair, cloth, water, leaves), of what the performer rides on, ' +
                'of a head or of a body'}
          </p>
        </section>
      }
    >
      <MeasureList
        title="Stir"
        items={[
          { name: 'amplitude', measure: props.m.stir?.amplitudePx },
          { name: 'direction', measure: props.m.stir?.directionDeg },
          { name: 'rate', measure: props.m.stir?.rateHz },
        ]}
      />
    </Show>
  );
}

function RideAndTurn(props: { m: PlateMeasures }): JSX.Element {
  return (
    <section class="measures">
      <h3>Ride and turn</h3>
      <p class="how">
        <Show
          when={props.m.ride}
          fallback={
            noteOf(props.m, 'ride') ??
            'no region to ride on is marked; would help: ' + 'an outline (“rides on”) of what carries the performer'
          }
        >
          {(r) => (
            <>
              followed over {r().frames.length} frames ({r().model}); lowest confidence{' '}
              {Math.min(...r().frames.map((f) => f.confidence)).toFixed(2)}
            </>
          )}
        </Show>
      </p>
      <p class="how">
        <Show
          when={props.m.turn}
          fallback={
            noteOf(props.m, 'turn') ??
            'no turn is marked; would help: a face, or two or three poses (frame and yaw) of whoever turns'
          }
        >
          {(t) => (
            <>
              turns from {rounded(t().frames[0]?.yawDeg ?? 0, 0)}° to {rounded(t().frames.at(-1)?.yawDeg ?? 0, 0)}°, at
              most {t().peakDegPerSecond.toFixed(0)}° a second (± {Math.max(...t().frames.map((f) => f.sd)).toFixed(1)}
              °)
            </>
          )}
        </Show>
      </p>
    </section>
  );
}

/** Why a part of the measures is absent, in the words of the measuring. */
function noteOf(m: PlateMeasures, part: string): string | undefined {
  return notesOf(m, part)[0];
}

/** All that the measuring says of a part. */
export function notesOf(m: PlateMeasures, part: string): string[] {
  return (m.notes ?? []).filter((n) => n.startsWith(`${part}: `)).map((n) => n.slice(part.length + 2));
}

/** By how much the picture is to grow, in words; empty where it is not. */
function widened(m: PlateMeasures): string {
  const w = m.room?.widenPx;
  return w === undefined
    ? ''
    : (['left', 'right', 'top', 'bottom'] as const)
        .filter((k) => w[k] > 0)
        .map((k) => `${Math.round(w[k])} px ${k}`)
        .join(', ');
}
