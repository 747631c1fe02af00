/* store/tree_store.h - the tree list that a layout was given, into a trial file and out of
 * it. Inner header of the folder; for others: trial_file.h. */
#ifndef QX_STORE_TREE_STORE_H
#define QX_STORE_TREE_STORE_H

#include "store/db.h"
#include "store/trial_file.h"

/* Is there such a table? Files of schema 1 that are only read have none of schema 2. */
qx_status qx_db_has(qx_ctx *cx, qx_db *db, const char *table, bool *out);

/* List and which tree each thing is; inside a transaction of a new file. */
qx_status qx_planting_write(qx_ctx *cx,
                            qx_db *db,
                            const qx_planting *planting,
                            const qx_layout *layout);

/* The list as it was, or NULL. The caller frees it. */
qx_status qx_planting_read(
    qx_ctx *cx, qx_db *db, qx_problems *problems, qx_trees **trees, double *reach_m);

/* Fills layout->stand (in the layout's arena) from the list in the file, if there is one. */
qx_status qx_stands_read(qx_ctx *cx, qx_db *db, qx_layout *layout);

#endif
