/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of keep/ share. */
#pragma once

#include "keep/keep.h"

/* A folder beside `to` in which all is made before it gets its name; what killed programs left of
   such is removed. `part` is the caller's, `lock` is closed by `finish`: it syncs and renames where
   all was good, else it removes what was made. */
struct keep_folder {
    const char *to;
    char *part;
    int lock;
};
bool keep_begin(struct keep_folder *folder, const char *to, struct up_failure *failure);
bool keep_finish(struct keep_folder *folder, bool good, struct up_failure *failure);

/* What reached the disk stays there. */
bool keep_sync(const char *path, struct up_failure *failure);

/* The files of all runs, each read again after it was written and compared. */
struct keep_copied {
    unsigned long files, skipped;
};
bool keep_copy_runs(const char *from, const char *to, struct keep_copied *copied,
                    struct up_failure *failure);
