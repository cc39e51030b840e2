/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What every device node needs, and what goes wrong with it. */
#include <errno.h>
#include <grp.h>
#include <pwd.h>
#include <string.h>
#include <sys/file.h>
#include <sys/stat.h>
#include <termios.h>
#include <unistd.h>

#include "internal.h"

static bool explain_permission(const char *path, struct up_failure *failure) {
    struct stat about;
    const struct group *group = NULL;
    const struct passwd *user = getpwuid(geteuid());
    /* Joining a group helps only where the node lets its group in; a node of root's group is not
       to be opened up that way. */
    if (stat(path, &about) == 0 && (about.st_mode & 060) == 060 && about.st_gid != 0) {
        group = getgrgid(about.st_gid);
    }
    if (group == NULL) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "you have no permission for the port %s: only root has it; ask whoever runs "
                       "this machine",
                       path);
    }
    return up_fail(failure, UP_STATUS_UNABLE,
                   "you have no permission for the port %s: it belongs to the group %s; as root "
                   "run `adduser %s %s`, then log in again",
                   path, group->gr_name, user != NULL ? user->pw_name : "USER", group->gr_name);
}

static bool explain_busy(const char *path, struct up_failure *failure) {
    return up_fail(failure, UP_STATUS_UNABLE,
                   "the port %s is in use by another program: close that program (`fuser -v %s` "
                   "names it)",
                   path, path);
}

bool explain_open(const char *path, int error, struct up_failure *failure) {
    switch (error) {
    case EACCES:
    case EPERM:
        return explain_permission(path, failure);
    case EBUSY:
        return explain_busy(path, failure);
    case ENOENT:
    case ENODEV:
    case ENXIO:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "there is no port %s: check that the device is plugged in", path);
    default:
        return up_fail(failure, UP_STATUS_UNABLE,
                       "cannot open the port %s: %s; check that the device is plugged in", path,
                       strerror(error));
    }
}

bool lock_device(int descriptor, const char *path, struct up_failure *failure) {
    if (flock(descriptor, LOCK_EX | LOCK_NB) == 0) {
        return true;
    }
    return errno == EWOULDBLOCK ? explain_busy(path, failure)
                                : up_fail(failure, UP_STATUS_UNABLE, "cannot lock the port %s: %s",
                                          path, strerror(errno));
}

bool make_raw_device(int descriptor) {
    struct termios settings;
    if (tcgetattr(descriptor, &settings) != 0) {
        return false;
    }
    cfmakeraw(&settings);
    settings.c_cflag |= CLOCAL | CREAD;
    settings.c_cflag &= ~(tcflag_t)HUPCL; /* closing must not reset a board at its next opening */
    settings.c_cc[VMIN] = 0;
    settings.c_cc[VTIME] = 0;
    return tcsetattr(descriptor, TCSANOW, &settings) == 0;
}
