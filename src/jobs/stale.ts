/**
 * What in the book was made from something that has changed since: measures of other marks, a brief or a verdict of
 * older measures, a picture of another recipe, an inspection of another picture. Told by stamps of what each was made
 * from, so that an undo makes it good again; documents from before the stamps were kept are taken to hold.
 */
import { createHash } from 'node:crypto';
import type { Book } from '../book/book.js';
import type { MeasuresDocument, PickDocument, ProductionDocument, TakeDocument } from '../book/documents.js';
import { isOtherFile } from '../book/take-again.js';
import type { Recipe } from '../join/types.js';

/** Ids by what is out of date. */
export interface Stale {
  readonly measures: readonly string[];
  readonly briefs: readonly string[];
  readonly verdicts: readonly string[];
  readonly renders: readonly string[];
  /** Takes whose file is another than the one that entered. */
  readonly takes: readonly string[];
}

function stamp(value: unknown): string {
  return createHash('sha256').update(JSON.stringify(value)).digest('hex').slice(0, 16);
}

/** Short stamp of a recipe: which picture belongs to which recipe. */
export function recipeHash(recipe: Recipe): string {
  return stamp(recipe.steps);
}

/** What measures depend on: the span and the marks. */
export function measuresStamp(pick: PickDocument): string {
  return stamp([pick.film, pick.in, pick.out, pick.marks]);
}

/** What a brief depends on beside the dates: the measures, the marks, and what the studio owns. */
export function briefStamp(pick: PickDocument, measures: MeasuresDocument, production: ProductionDocument): string {
  return stamp([
    measures.at,
    pick.marks,
    pick.title,
    pick.action,
    production.performer,
    production.camera,
    production.place,
  ]);
}

/** What a verdict depends on: the measures, the take's marks and the limits. */
export function verdictStamp(
  take: TakeDocument,
  pick: PickDocument,
  measures: MeasuresDocument,
  production: ProductionDocument,
): string {
  return stamp([measures.at, pick.marks, take.file, take.marks, production.tolerances]);
}

/** Whether a take's verdict is there and nothing that it was judged by has changed since. */
export function verdictHolds(book: Book, take: TakeDocument): boolean {
  const pick = take.pick === null ? null : book.get('pick', take.pick),
    measures = pick === null ? null : book.get('measures', pick.id);
  return (
    take.verdict !== undefined &&
    pick !== null &&
    measures !== null &&
    measures.of === measuresStamp(pick) &&
    take.verdictOf === verdictStamp(take, pick, measures, book.need('production', 'production')) &&
    !isOtherFile(book, take)
  );
}

/** Ids of all that is stale, by kind. */
export function staleOf(book: Book): Stale {
  const production = book.need('production', 'production');
  const picks = new Map(book.list('pick').map((p) => [p.id, p]));
  const all = book.list('measures');
  const measures = new Map(all.map((m) => [m.id, m]));
  const differs = (kept: string | undefined, now: string): boolean => kept !== undefined && kept !== now;
  const staleMeasures = all
    .filter((m) => picks.has(m.id) && differs(m.of, measuresStamp(picks.get(m.id)!)))
    .map((m) => m.id);
  return {
    measures: staleMeasures,
    briefs: book
      .list('brief')
      .filter((b) => {
        const p = picks.get(b.id);
        const m = measures.get(b.id);
        return p !== undefined && m !== undefined && differs(b.of, briefStamp(p, m, production));
      })
      .map((b) => b.id),
    verdicts: book
      .list('take')
      .filter((t) => {
        const p = t.pick === null ? undefined : picks.get(t.pick);
        const m = p === undefined ? undefined : measures.get(p.id);
        return (
          t.verdict !== undefined &&
          p !== undefined &&
          m !== undefined &&
          differs(t.verdictOf, verdictStamp(t, p, m, production))
        );
      })
      .map((t) => t.id),
    renders: book
      .list('join')
      .filter((j) => j.render !== undefined && j.render.recipeHash !== recipeHash(j.recipe))
      .map((j) => j.id),
    takes: book
      .list('take')
      .filter((t) => isOtherFile(book, t))
      .map((t) => t.id),
  };
}
