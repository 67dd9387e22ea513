/** Takes that a camera made: they are judged, and how they were shot can be told. Drawings and stills are not. */
import type { TakeDocument } from './documents.js';

/** A film, or a picture sequence without alpha of its own. */
export const isFilmed = (take: Pick<TakeDocument, 'kind' | 'info'>): boolean =>
  take.kind === 'video' || (take.kind === 'sequence' && take.info.video?.hasAlpha !== true);
