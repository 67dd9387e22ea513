/**
 * The one error shape of Platewright. A message names the thing, the place and the way out, so
 * that a person can act on it without reading code: `PW-MEDIA-TRUNCATED: take-07.mov ends inside
 * frame 112 of 240; the 112 whole frames were kept`.
 */

/** Exit codes of the command line: what kind of failure a caller sees. */
export type FailureKind = 'finding' | 'usage' | 'input' | 'internal';

const EXIT_CODES: Record<FailureKind, number> = { finding: 1, usage: 2, input: 3, internal: 4 };

/** What every part throws for a failure that a person can act on; its kind gives the exit code. */
export class PlatewrightError extends Error {
  /** Stable code such as `PW-MEDIA-TRUNCATED`; callers switch on it, never on the sentence. */
  readonly code: string;
  readonly kind: FailureKind;
  /** Machine-readable particulars (file, frame, limit...) for `--json` and the workbench. */
  readonly detail: Record<string, unknown>;

  constructor(
    code: string,
    sentence: string,
    options: { kind?: FailureKind; detail?: Record<string, unknown>; cause?: unknown } = {},
  ) {
    super(`${code}: ${sentence}`, options.cause === undefined ? undefined : { cause: options.cause });
    this.name = 'PlatewrightError';
    this.code = code;
    this.kind = options.kind ?? 'input';
    this.detail = options.detail ?? {};
  }

  get exitCode(): number {
    return EXIT_CODES[this.kind];
  }
}

/** Exit code for any thrown value: a `PlatewrightError` says its own, everything else is internal. */
export function exitCodeOf(error: unknown): number {
  return error instanceof PlatewrightError ? error.exitCode : EXIT_CODES.internal;
}
