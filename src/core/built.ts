/** Where the built program lies. */

/**
 * Address of a file of dist/, whether this module runs from src/, from dist/ or within one of dist's bundles
 * (scripts/build.mjs). @param name its path there, parted by strokes
 */
export function built(name: string): URL {
  const here = import.meta.url;
  const at = Math.max(here.lastIndexOf('/src/'), here.lastIndexOf('/dist/'));
  return new URL(`dist/${name}`, here.slice(0, at + 1));
}
