/** The region of a patch step that has none of its own yet. */
import type { RegionFile } from '../../plate/marks/marks.js';

/** Stands where a patch step that is off needs a region that nobody marked: the smallest triangle. */
export const NO_REGION: RegionFile = {
  frames: [
    {
      frame: 0,
      polygon: [
        [0, 0],
        [1, 0],
        [0, 1],
      ],
    },
  ],
};
