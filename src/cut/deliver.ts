/**
 * Deliveries of a programme: a master (ProRes 4444), a web file (H.264 with sound), captions, edit list,
 * OpenTimelineIO, shot list, ledger, with loudness and flashes measured on what is written.
 */
import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { writeCsv } from '../core/csv.js';
import { formatRate, secondsOf } from '../core/rational.js';
import { formatTimecode } from '../core/timecode.js';
import { VideoWriter } from '../media/video-writer.js';
import { writeWav } from '../media/sound.js';
import { assemble } from './assemble.js';
import { writeSubRip, writeWebVtt, type Caption } from './captions.js';
import { writeEdl } from './edl.js';
import type { Cdl } from '../colour/cdl.js';
import type { FlashReport } from './flash.js';
import type { LostFrames } from './lost-frames.js';
import { normaliseLoudness } from './limiter.js';
import { foreignLetters } from './lettering.js';
import { LoudnessMeter, type LoudnessReport } from './loudness.js';
import { writeOtio } from './otio.js';
import { placeItems, type Programme } from './programme.js';
import { renderMix } from './sound-mix.js';

/** What is delivered, and where to. */
export interface DeliverOptions {
  readonly folder: string;
  /** Base of the file names. */
  readonly name: string;
  readonly master: boolean;
  readonly loudnessLufs: number;
  readonly truePeakDbtp: number;
  readonly captions: readonly Caption[];
  /** What is known of the programme's items before they are read; said with what was found on the way. */
  readonly notes?: readonly string[];
  readonly lost?: readonly LostFrames[];
  readonly cdl?: Readonly<Record<number, Cdl>>;
  readonly pathOf?: (file: string) => string;
  readonly progress?: (done: number, total: number, stage: string) => void;
  readonly signal?: AbortSignal;
}

/** What was delivered. */
export interface DeliveryReport {
  readonly files: readonly string[];
  readonly frames: number;
  readonly seconds: number;
  readonly rate: string;
  readonly loudness: LoudnessReport;
  readonly gainDb: number;
  readonly flash: FlashReport;
  /** Frames that could not be read, and what stands in for them; deliveries from before this was kept have none. */
  readonly lost?: readonly LostFrames[];
  /** What to look at before it is sent out. */
  readonly notes: readonly string[];
}

/**
 * Writes all files of a delivery into its folder, loudness brought to the level asked for (LUFS, dBTP), and tells what
 * was measured on them.
 */
export async function deliver(p: Programme, o: DeliverOptions): Promise<DeliveryReport> {
  const placed = placeItems(p);
  const files: string[] = [];
  const path = (ending: string): string => {
    const f = join(o.folder, `${o.name}${ending}`);
    files.push(f);
    return f;
  };
  const foreign = foreignLetters(p.items.flatMap((i) => (i.kind === 'title' ? [...(i.lines ?? [i.name])] : [])));
  const notes = [...(o.notes ?? []), ...(foreign === null ? [] : [foreign])];
  o.progress?.(0, 1, 'mixing sound');
  const mixed = await renderMix(p, placed);
  const normal = normaliseLoudness(mixed, o.loudnessLufs, o.truePeakDbtp);
  const meter = new LoudnessMeter(normal.sound.sampleRate, normal.sound.channels);
  meter.add(normal.sound.samples);

  const even = { widthPx: p.widthPx - (p.widthPx % 2), heightPx: p.heightPx - (p.heightPx % 2) };
  const programme = { ...p, ...even };
  const web = await VideoWriter.open(path('.mp4'), {
    ...even,
    rate: p.rate,
    codec: 'h264',
    crf: 18,
    sound: normal.sound,
  });
  const writers = [web];
  try {
    if (o.master)
      writers.push(
        await VideoWriter.open(path('-master.mov'), {
          ...even,
          rate: p.rate,
          codec: 'prores4444',
          sound: normal.sound,
        }),
      );
    const result = await assemble(programme, writers, {
      progress: (d, t) => o.progress?.(d, t, 'writing pictures'),
      ...(o.signal === undefined ? {} : { signal: o.signal }),
    });
    for (const w of writers) await w.close();
    writeWav(path('-mix.wav'), normal.sound, 24);
    writeFileSync(path('.edl'), writeEdl(p, placed, o.cdl));
    writeFileSync(path('.otio'), writeOtio(p, placed, o.pathOf ?? ((f) => f)));
    writeFileSync(
      path('-shots.csv'),
      writeCsv([
        ['record in', 'record out', 'name', 'kind', 'file', 'source in', 'source out', 'seconds'],
        ...placed.map((i) => [
          formatTimecode(i.recordIn, p.rate),
          formatTimecode(i.recordOut, p.rate),
          i.name,
          i.kind,
          i.file === null ? null : (o.pathOf?.(i.file) ?? i.file),
          i.in,
          i.out,
          Number(secondsOf(i.recordOut - i.recordIn, p.rate).toFixed(3)),
        ]),
      ]),
    );
    if (o.captions.length > 0) {
      writeFileSync(path('.vtt'), writeWebVtt(o.captions, p.rate));
      writeFileSync(path('.srt'), writeSubRip(o.captions, p.rate));
    }
    return {
      files,
      frames: result.frames,
      seconds: secondsOf(result.frames, p.rate),
      rate: formatRate(p.rate),
      loudness: meter.report(),
      gainDb: normal.gainDb,
      flash: result.flash,
      lost: [...(o.lost ?? []), ...result.lost],
      notes,
    };
  } catch (error) {
    for (const w of writers) await w.abort();
    throw error;
  }
}
