/**
 * A failure told from one thread to another. What is posted loses its class, so an error of the program's own would
 * come out as any error: without its code, its kind and its way out.
 */
import { PlatewrightError, type FailureKind } from './errors.js';

/** An error as it is posted. */
export interface ThreadFailure {
  readonly message: string;
  readonly stack: string;
  /** Null where it is none of the program's own. */
  readonly own: {
    readonly code: string;
    readonly kind: FailureKind;
    readonly detail: Record<string, unknown>;
  } | null;
}

/** An error as a thread may send it to another, with its code where it is the program's own. */
export function tellFailure(error: unknown): ThreadFailure {
  const e = error instanceof Error ? error : new Error(String(error));
  return {
    message: e.message,
    stack: e.stack ?? '',
    own: e instanceof PlatewrightError ? { code: e.code, kind: e.kind, detail: e.detail } : null,
  };
}

/** The error again, with the stack of the thread it was thrown in. */
export function failureTold({ message, stack, own }: ThreadFailure): Error {
  const error =
    own === null
      ? new Error(message)
      : new PlatewrightError(own.code, message.slice(own.code.length + 2), { kind: own.kind, detail: own.detail });
  error.stack = stack;
  return error;
}
