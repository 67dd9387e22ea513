/** The cards at the end of a cut: its credits, then its thanks. */

/** Frames a card stands. */
export const CREDIT_FRAMES = 60;
/** Most lines on a card. */
const LINES = 8;

/** Lines card by card; none where there are neither credits nor thanks. */
export function creditCards(cut: {
  readonly credits: readonly string[];
  readonly thanks: readonly string[];
}): string[][] {
  const lines = [...cut.credits, ...(cut.thanks.length > 0 ? ['Thanks to', ...cut.thanks] : [])];
  const cards: string[][] = [];
  for (let i = 0; i < lines.length; i += LINES) cards.push(lines.slice(i, i + LINES));
  return cards;
}
