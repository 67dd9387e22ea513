/** Asks before the page is closed while a file is being sent: what was sent of it by then would be lost. */

/** Does the work, and has the browser ask whoever closes the page meanwhile. */
export async function whileSending<T>(work: () => Promise<T>): Promise<T> {
  // Each has its own listener, so that one that ends does not speak for another.
  const mine = (e: BeforeUnloadEvent): void => e.preventDefault();
  window.addEventListener('beforeunload', mine);
  try {
    return await work();
  } finally {
    window.removeEventListener('beforeunload', mine);
  }
}
