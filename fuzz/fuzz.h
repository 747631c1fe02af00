/* fuzz/fuzz.h - the entry point that libFuzzer and fuzz/replay.c call. */
#ifndef QX_FUZZ_FUZZ_H
#define QX_FUZZ_FUZZ_H

#include <stddef.h>
#include <stdint.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

#endif
