/* store/schema.h - the statements that make an empty trial file (schema.sql, line by line,
 * closed by NULL; compiled in by meson). */
#ifndef QX_STORE_SCHEMA_H
#define QX_STORE_SCHEMA_H

extern const char *const qx_schema_1[];

#endif
