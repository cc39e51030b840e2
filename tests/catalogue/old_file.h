/* SPDX-License-Identifier: GPL-3.0-or-later */
/* A file of the first version, which a newer program keeps beside the one that it changed. */
#pragma once

#include "support.h"

/* As it was, with the rights of the file, and nothing half beside it. */
static inline void assert_old_file_is_kept(const char *path, const char *kept) {
    struct stat now, then;
    sqlite3 *database = outside(kept);
    assert_answer(database, "PRAGMA user_version", "1");
    assert_answer(database, "SELECT count(*) FROM record", "3");
    assert_answer(database, "SELECT count(*) FROM sqlite_master WHERE name = 'signed'", "0");
    assert_answer(database, "PRAGMA integrity_check", "ok");
    sqlite3_close(database);
    assert_int_equal(stat(path, &now), 0);
    assert_int_equal(stat(kept, &then), 0);
    assert_int_equal(now.st_mode, then.st_mode);
    assert_int_equal(system("ls c | grep -c part"), 256); /* none */
}
