/**
 * What the book says in a field that a hand types into: written there when the book says something else, and not while
 * the hand is at it, as the book is read again at any moment.
 */
import { createEffect, createMemo } from 'solid-js';

/**
 * Ties a field to what the book says, for its `ref`. What was typed and not yet given up stays as it is; a field that
 * is left unchanged says what the book does.
 *
 * @param again changes when the book's word is to be written once more, as after a refusal
 */
export function followBook(
  field: HTMLInputElement | HTMLTextAreaElement,
  said: () => string | number | undefined,
  again?: () => unknown,
): void {
  // A memo: other fields of the same document change too.
  const text = createMemo(() => String(said() ?? ''));
  let typing = false;
  field.addEventListener('input', () => {
    typing = true;
  });
  // Before what the change is for: that may be refused at once, and the field written again.
  field.addEventListener(
    'change',
    () => {
      typing = false;
    },
    { capture: true },
  );
  // No change told of, and yet typed: it was typed back to what it was.
  field.addEventListener('blur', () => {
    if (typing) field.value = text();
    typing = false;
  });
  createEffect(() => {
    again?.();
    const now = text();
    if (!typing && field.value !== now) field.value = now;
  });
}
