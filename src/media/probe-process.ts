/**
 * Media from outside is looked at in a process of its own: a decoder that crashes or hangs on a damaged file takes that
 * process with it and nothing else. One process a request; it is stopped when its time is up.
 */
import { fork } from 'node:child_process';
import { basename } from 'node:path';
import { fileURLToPath } from 'node:url';
import { built } from '../core/built.js';
import { PlatewrightError, type FailureKind } from '../core/errors.js';
import type { MediaInfo, VideoFrame } from './types.js';

export interface ChildRequest {
  readonly act: 'probe' | 'check' | 'frame';
  readonly path: string;
  /** For `frame`. */
  readonly frame?: number;
}

export type ChildAnswer =
  | { readonly ok: true; readonly value: MediaInfo | VideoFrame }
  | {
      readonly ok: false;
      readonly code: string;
      readonly sentence: string;
      readonly kind: FailureKind;
      readonly detail: Record<string, unknown>;
    };

export interface ChildOptions {
  /** Time allowed, 20 s unless told. */
  readonly timeoutMs?: number;
  /** Told the child's process id, so that a caller can stop it itself. */
  readonly onStart?: (pid: number) => void;
}

const TIMEOUT_MS = 20_000;

async function ask(request: ChildRequest, options: ChildOptions): Promise<MediaInfo | VideoFrame> {
  const fromSource = import.meta.url.endsWith('.ts');
  const child = fork(
    fileURLToPath(fromSource ? new URL('./probe-child.ts', import.meta.url) : built('media/probe-child.js')),
    [],
    {
      serialization: 'advanced',
      stdio: ['ignore', 'ignore', 'ignore', 'ipc'],
      execArgv: fromSource ? ['--import', 'tsx'] : [],
    },
  );
  if (child.pid !== undefined) options.onStart?.(child.pid);
  const timeoutMs = options.timeoutMs ?? TIMEOUT_MS;
  const name = basename(request.path);
  return await new Promise((resolve, reject) => {
    let settled = false;
    const end = (act: () => void): void => {
      if (settled) return;
      settled = true;
      clearTimeout(timer);
      child.kill('SIGKILL');
      act();
    };
    const timer = setTimeout(() => {
      end(() =>
        reject(
          new PlatewrightError(
            'PW-MEDIA-TIMEOUT',
            `${name} could not be read within ${timeoutMs / 1000} seconds and was given up; ` +
              'export it again in a usual format',
            { detail: { file: request.path } },
          ),
        ),
      );
    }, timeoutMs);
    child.once('message', (message) => {
      const reply = message as ChildAnswer;
      end(() => {
        if (reply.ok) resolve(reply.value);
        else reject(new PlatewrightError(reply.code, reply.sentence, { kind: reply.kind, detail: reply.detail }));
      });
    });
    child.once('error', (cause) => {
      end(() =>
        reject(
          new PlatewrightError('PW-MEDIA-INTERNAL', `no process could be started to read ${name}`, {
            kind: 'internal',
            cause,
          }),
        ),
      );
    });
    child.once('exit', (code, signal) => {
      end(() =>
        reject(
          new PlatewrightError(
            'PW-MEDIA-CRASHED',
            `${name} made the decoder stop (${signal ?? `exit ${code}`}); the file is damaged, export or copy it again`,
            { detail: { file: request.path, code, signal } },
          ),
        ),
      );
    });
    child.send(request, (cause) => {
      if (cause)
        end(() =>
          reject(
            new PlatewrightError('PW-MEDIA-INTERNAL', `the process that reads ${name} took no request`, {
              kind: 'internal',
              cause,
            }),
          ),
        );
    });
  });
}

/** `probe`, in a process that may crash. Adds `PW-MEDIA-TIMEOUT` and `PW-MEDIA-CRASHED` to its errors. */
export async function probeInChild(path: string, options: ChildOptions = {}): Promise<MediaInfo> {
  return (await ask({ act: 'probe', path }, options)) as MediaInfo;
}

/** Probes and decodes the first and the last frame: what an upload has to pass before the book names it. */
export async function checkInChild(path: string, options: ChildOptions = {}): Promise<MediaInfo> {
  return (await ask({ act: 'check', path }, options)) as MediaInfo;
}

/** One frame, decoded in a process that may crash. The planes are the caller's. */
export async function decodeInChild(path: string, frame: number, options: ChildOptions = {}): Promise<VideoFrame> {
  return (await ask({ act: 'frame', path, frame }, options)) as VideoFrame;
}
