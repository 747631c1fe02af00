/* store/trial_file_inner.h - the connection behind an open trial file (inner header). */
#ifndef QX_STORE_TRIAL_FILE_INNER_H
#define QX_STORE_TRIAL_FILE_INNER_H

#include "store/db.h"
#include "store/trial_file.h"

struct qx_trial_file {
    qx_arena *arena; /* owns this struct */
    qx_db *db;
    const char *path;
};

#endif
