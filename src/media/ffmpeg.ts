/**
 * The one place that imports FFmpeg (through node-av's low-level binding). Everything else in src/media takes it from
 * here; nothing outside src/media takes it at all.
 */
import './promise-shim.js';
import { Log } from 'node-av/lib';
import { AV_LOG_QUIET } from 'node-av/constants';

export * from 'node-av/lib';
export * as C from 'node-av/constants';

// FFmpeg prints to stderr by itself; the door turns what matters into errors and notes, and --json owns the streams.
Log.setLevel(AV_LOG_QUIET);

/** FFmpeg's "no timestamp". */
export const NO_TIMESTAMP = -9223372036854775808n;
export type { AVMediaType, AVPixelFormat } from 'node-av/constants';
