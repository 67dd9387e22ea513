/**
 * libx264 with its AVX-512 routines does not write the same bytes twice (the macroblock tree of the presets with a
 * look-ahead wanders: 6 unlike files in 20 encodings of one clip on an EPYC; none in 25 with AVX2, which is as fast).
 * The same render has to give the same bytes, so on processors that have AVX-512 the encoder is held to AVX2.
 */
import { readFileSync } from 'node:fs';

/**
 * Value of the encoder's `asm` parameter, or null where its own choice is sound (or nothing can be learnt of the
 * processor).
 */
export function encoderAssembly(cpuInfo: () => string = () => readFileSync('/proc/cpuinfo', 'utf8')): string | null {
  if (process.arch !== 'x64') return null;
  try {
    const flags = /^flags\s*:(.*)$/m.exec(cpuInfo())?.[1]?.split(/\s+/) ?? [];
    return flags.includes('avx512f') && flags.includes('avx2') ? 'avx2' : null;
  } catch {
    // Not Linux: nothing is known, nothing is forced.
    return null;
  }
}
