// Pipes R'G'B' frames to the ffmpeg program on the PATH: H.264 with B frames, 4:2:0, BT.709 tags, limited range.

import { spawn } from 'node:child_process';
import { renameSync } from 'node:fs';

export interface EncodeOptions {
  readonly width: number;
  readonly height: number;
  readonly rate: string;
  readonly crf: number;
  /** WAV file to go with the picture. */
  readonly sound?: string;
}

/** Writes a movie from 8-bit interleaved R'G'B' frames; the file appears under its name only when whole. */
export async function encode(path: string, frames: AsyncIterable<Uint8Array>, o: EncodeOptions): Promise<void> {
  const part = path.replace(/(\.\w+)$/, '.part$1');
  const args = [
    '-v',
    'error',
    '-y',
    '-f',
    'rawvideo',
    '-pix_fmt',
    'rgb24',
    '-s',
    `${o.width}x${o.height}`,
    '-r',
    o.rate,
    '-i',
    '-',
  ];
  if (o.sound) args.push('-i', o.sound);
  args.push(
    '-vf',
    'scale=in_range=pc:out_range=tv:out_color_matrix=bt709:flags=accurate_rnd+full_chroma_int+bicubic,format=yuv420p',
    '-c:v',
    'libx264',
    '-preset',
    'medium',
    '-crf',
    String(o.crf),
    '-bf',
    '3',
    '-g',
    '96',
    '-threads',
    '1',
    '-color_primaries',
    'bt709',
    '-color_trc',
    'bt709',
    '-colorspace',
    'bt709',
    '-color_range',
    'tv',
  );
  if (o.sound) args.push('-c:a', 'aac', '-b:a', '160k', '-shortest');
  args.push(
    '-fflags',
    '+bitexact',
    '-flags:v',
    '+bitexact',
    '-flags:a',
    '+bitexact',
    '-map_metadata',
    '-1',
    '-movflags',
    '+faststart',
    part,
  );
  const child = spawn('ffmpeg', args, { stdio: ['pipe', 'inherit', 'inherit'] });
  const done = new Promise<void>((ok, no) =>
    child.on('close', (code) => (code === 0 ? ok() : no(new Error(`ffmpeg ended with ${code} while writing ${path}`)))),
  );
  for await (const frame of frames) {
    if (!child.stdin.write(frame)) await new Promise((ok) => child.stdin.once('drain', ok));
  }
  child.stdin.end();
  await done;
  renameSync(part, path);
}
