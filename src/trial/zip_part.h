/* trial/zip_part.h - parts of a zip file in memory (inner header of the spreadsheet
 * reader; cover of libzip). */
#ifndef QX_TRIAL_ZIP_PART_H
#define QX_TRIAL_ZIP_PART_H

#include <zip.h>

#include "base/file.h"

/* Opens bytes that outlive `*out`; close it with zip_discard. QX_E_INPUT, QX_E_NOMEM. */
qx_status
qx_zip_open(qx_ctx *cx, const char *file, const char *bytes, size_t length, zip_t **out);

/* One part, unpacked, in `arena`; out->bytes is NULL when there is none of that name.
 * QX_E_INPUT: damaged, encrypted, or more than `most` bytes. */
qx_status qx_zip_part(qx_ctx *cx,
                      qx_arena *arena,
                      zip_t *zip,
                      const char *file,
                      const char *name,
                      size_t most,
                      qx_bytes *out);

#endif
