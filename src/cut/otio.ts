/**
 * OpenTimelineIO JSON (schemas of release 0.18: Timeline.1, Stack.1, Track.1, Clip.2, Gap.1, ExternalReference.1,
 * Marker.2). One picture track; two sound tracks, odd and even items in turn, whose clips carry J and L edges; music as
 * one more. Starts are in the source's own frames, durations in the programme's, so that tracks stay in step whatever
 * the rates. Written values are finite numbers only.
 */
import { framesPerSecond, type Rate } from '../core/rational.js';
import { nominalRate } from '../core/timecode.js';
import type { PlacedItem, Programme } from './programme.js';

type Json = Record<string, unknown>;

const time = (value: number, rate: Rate): Json => ({
  OTIO_SCHEMA: 'RationalTime.1',
  rate: framesPerSecond(rate),
  value,
});
const range = (start: number, startRate: Rate, duration: number, rate: Rate): Json => ({
  OTIO_SCHEMA: 'TimeRange.1',
  start_time: time(start, startRate),
  duration: time(duration, rate),
});

function item(schema: string, name: string, sourceRange: Json | null, extra: Json = {}): Json {
  return {
    OTIO_SCHEMA: schema,
    metadata: {},
    name,
    source_range: sourceRange,
    effects: [],
    markers: [],
    enabled: true,
    ...extra,
  };
}

function clip(
  name: string,
  start: number,
  startRate: Rate,
  length: number,
  rate: Rate,
  file: string | null,
  metadata: Json,
): Json {
  const reference =
    file === null
      ? {
          OTIO_SCHEMA: 'MissingReference.1',
          metadata: {},
          name: '',
          available_range: null,
          available_image_bounds: null,
        }
      : {
          OTIO_SCHEMA: 'ExternalReference.1',
          metadata: {},
          name: '',
          available_range: null,
          available_image_bounds: null,
          target_url: file.split('\\').join('/'),
        };
  return item('Clip.2', name, range(start, startRate, length, rate), {
    metadata: { platewright: metadata },
    active_media_reference_key: 'DEFAULT_MEDIA',
    media_references: { DEFAULT_MEDIA: reference },
  });
}

const gap = (length: number, rate: Rate): Json => item('Gap.1', '', range(0, rate, length, rate));
const track = (name: string, kind: 'Video' | 'Audio', children: Json[]): Json =>
  item('Track.1', name, null, { kind, children });

/** The programme as an OpenTimelineIO document. `pathOf` turns absolute media paths into what the reader shall find. */
export function writeOtio(p: Programme, placed: readonly PlacedItem[], pathOf: (file: string) => string): string {
  const video = placed.map((i) =>
    clip(
      i.name,
      i.kind === 'title' ? 0 : i.in,
      i.kind === 'title' ? p.rate : i.rate,
      i.recordOut - i.recordIn,
      p.rate,
      i.file === null ? null : pathOf(i.file),
      { kind: i.kind, ...(i.borrowed === null ? {} : { borrowed: i.borrowed }) },
    ),
  );
  // Sound edges overlap their neighbours: odd and even items lie on two tracks, so that no clip has to be cut.
  const sound = [0, 1].map((parity) => {
    const children: Json[] = [];
    let at = 0;
    placed.forEach((i, n) => {
      if (n % 2 !== parity || i.sound === null) return;
      // Programme frames in the sound's own; a lead longer than the sound that is there, or than the gap before it, is
      // cut short.
      const own = (i.sound.rate.num * p.rate.den) / (i.sound.rate.den * p.rate.num);
      const lead = Math.min(i.soundLead, Math.floor(i.sound.in / own), i.recordIn - at);
      const from = i.recordIn - lead;
      const to = Math.max(from + 1, i.recordOut + i.soundTail);
      if (from > at) children.push(gap(from - at, p.rate));
      children.push(
        clip(i.name, i.sound.in - lead * own, i.sound.rate, to - from, p.rate, pathOf(i.sound.file), { kind: 'sound' }),
      );
      at = to;
    });
    return track(`A${parity + 1}`, 'Audio', children);
  });
  const under: Json[] = [];
  let underTo = 0;
  for (const i of placed) {
    if (i.under === undefined) continue;
    const { sound: film, gainDb } = i.under;
    if (i.recordIn > underTo) under.push(gap(i.recordIn - underTo, p.rate));
    under.push(
      clip(i.name, film.in, film.rate, i.recordOut - i.recordIn, p.rate, pathOf(film.file), { kind: 'under', gainDb }),
    );
    underTo = i.recordOut;
  }
  const end = placed[placed.length - 1]!.recordOut;
  const tracks = [
    track('V1', 'Video', video),
    ...sound,
    ...(under.length === 0 ? [] : [track('Under', 'Audio', under)]),
  ];
  if (p.music !== null && end > p.music.fromFrame)
    tracks.push(
      track('Music', 'Audio', [
        ...(p.music.fromFrame > 0 ? [gap(p.music.fromFrame, p.rate)] : []),
        clip('music', 0, p.rate, end - p.music.fromFrame, p.rate, pathOf(p.music.file), {
          kind: 'music',
          gainDb: p.music.gainDb,
        }),
      ]),
    );
  const timeline = {
    OTIO_SCHEMA: 'Timeline.1',
    metadata: {},
    name: p.title,
    global_start_time: time(nominalRate(p.rate) * 3600, p.rate),
    tracks: item('Stack.1', 'tracks', null, { children: tracks }),
  };
  return `${JSON.stringify(timeline, null, 2)}\n`;
}
