/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * Serial ports through libserialport, as far as it goes: it finds, opens and sets them. Bytes are
 * read from the descriptor itself, since the library's own reads take a hang-up for silence. Its
 * version 0.1.1 refuses links and lets two programs open one port: both are done here.
 */
#include <errno.h>
#include <fcntl.h>
#include <libserialport.h>
#include <stdlib.h>
#include <string.h>
#include <sys/ioctl.h>
#include <unistd.h>

#include "internal.h"
#include "text/memory.h"

/* A driver may round a rate; receivers bear about this much (a choice of ours: of ten bits the last
   is then off by less than a quarter). */
static const double RATE_TOLERANCE_REL = 0.02;

/* ---- settings ---- */

static void fill_config(struct sp_port_config *config, const struct up_port_settings *settings) {
    static const enum sp_parity parity[] = {[UP_PARITY_NONE] = SP_PARITY_NONE,
                                            [UP_PARITY_EVEN] = SP_PARITY_EVEN,
                                            [UP_PARITY_ODD] = SP_PARITY_ODD};
    static const enum sp_flowcontrol flow[] = {[UP_FLOW_NONE] = SP_FLOWCONTROL_NONE,
                                               [UP_FLOW_RTS_CTS] = SP_FLOWCONTROL_RTSCTS,
                                               [UP_FLOW_XON_XOFF] = SP_FLOWCONTROL_XONXOFF};
    sp_set_config_baudrate(config, settings->baud);
    sp_set_config_bits(config, settings->data_bits);
    sp_set_config_parity(config, parity[settings->parity]);
    sp_set_config_stopbits(config, settings->stop_bits);
    sp_set_config_flowcontrol(config, flow[settings->flow]);
}

/* Some drivers silently accept settings that they cannot keep: only reading back shows it. */
static bool settings_hold(struct sp_port *port, const struct sp_port_config *wanted) {
    struct sp_port_config *config = NULL;
    int got[4] = {0}, want[4] = {0};
    enum sp_parity parity = SP_PARITY_INVALID, wanted_parity = SP_PARITY_NONE;
    bool good = sp_new_config(&config) == SP_OK && sp_get_config(port, config) == SP_OK;
    if (good) {
        sp_get_config_baudrate(config, &got[0]);
        sp_get_config_bits(config, &got[1]);
        sp_get_config_stopbits(config, &got[2]);
        sp_get_config_parity(config, &parity);
        sp_get_config_baudrate(wanted, &want[0]);
        sp_get_config_bits(wanted, &want[1]);
        sp_get_config_stopbits(wanted, &want[2]);
        sp_get_config_parity(wanted, &wanted_parity);
        good = abs(got[0] - want[0]) <= RATE_TOLERANCE_REL * want[0] && got[1] == want[1] &&
               got[2] == want[2] && parity == wanted_parity;
    }
    sp_free_config(config);
    return good;
}

static bool set_up(const struct up_source *source, struct up_failure *failure) {
    const struct up_port_settings *settings = &source->settings;
    static const char letter[] = {'N', 'E', 'O'};
    struct sp_port_config *config = NULL;
    bool good = sp_new_config(&config) == SP_OK;
    if (good) {
        fill_config(config, settings);
        good = sp_set_config(source->port, config) == SP_OK && settings_hold(source->port, config);
    }
    sp_free_config(config);
    return good || up_fail(failure, UP_STATUS_UNABLE,
                           "the port %s cannot be set to %d baud, %d%c%d: compare the section "
                           "[port] of the rig file with the device's manual",
                           source->name, settings->baud, settings->data_bits,
                           letter[settings->parity], settings->stop_bits);
}

/* ---- opening ---- */

/* The lock has a descriptor of its own and comes first: a port that another program reads must not
   be touched. */
static bool take_lock(struct up_source *source, struct up_failure *failure) {
    source->lock = open(source->name, O_RDWR | O_NOCTTY | O_NONBLOCK | O_CLOEXEC);
    if (source->lock < 0) {
        return explain_open(source->name, errno, failure);
    }
    if (!lock_device(source->lock, source->name, failure)) {
        return false;
    }
    /* At once: a new port echoes, and a device that takes commands would hear its own words. */
    make_raw_device(source->lock);
    return true;
}

static bool open_port(struct up_source *source, struct up_failure *failure) {
    if (sp_get_port_by_name(source->name, &source->port) != SP_OK) {
        source->port = NULL;
        return access(source->name, F_OK) != 0
                   ? explain_open(source->name, errno, failure)
                   : up_fail(failure, UP_STATUS_UNABLE,
                             "%s is not a serial port: a pseudo-terminal needs kind = pty in the "
                             "rig file",
                             source->name);
    }
    if (sp_open(source->port, SP_MODE_READ_WRITE) != SP_OK) {
        int error = sp_last_error_code();
        sp_free_port(source->port);
        source->port = NULL;
        return explain_open(source->name, error, failure);
    }
    sp_get_port_handle(source->port, &source->descriptor);
    ioctl(source->descriptor, TIOCEXCL); /* keeps out those who do not ask for the lock */
    return true;
}

static bool open_named(struct up_source *source, struct up_failure *failure) {
    bool good = take_lock(source, failure) && open_port(source, failure) && set_up(source, failure);
    if (good) {
        sp_flush(source->port, SP_BUF_INPUT); /* what came at other settings */
        if (!source->usb.known) {
            identify_port(source->port, &source->usb);
        }
    } else {
        serial_close(source);
    }
    return good;
}

static bool follow_path(struct up_source *source, struct up_failure *failure) {
    UP_FREED char *name = realpath(source->path, NULL);
    bool good = name != NULL && strlen(name) < sizeof source->name;
    if (good) {
        memcpy(source->name, name, strlen(name) + 1);
    } else {
        explain_open(source->path, name != NULL ? ENAMETOOLONG : errno, failure);
    }
    return good;
}

static bool is_usb_path(const char *path) {
    return strncmp(path, "usb:", 4) == 0;
}

bool serial_open(struct up_source *source, struct up_failure *failure) {
    struct usb_identity usb = {0};
    bool found = is_usb_path(source->path) ? parse_usb_path(source->path, &usb, failure) &&
                                                 find_usb_port(&usb, source->name, failure)
                                           : follow_path(source, failure);
    return found && open_named(source, failure);
}

/* By now the old name may belong to another adapter. */
static bool is_the_same(const struct up_source *source) {
    struct sp_port *port = NULL;
    struct usb_identity here = {0};
    if (sp_get_port_by_name(source->name, &port) != SP_OK) {
        return false;
    }
    identify_port(port, &here);
    sp_free_port(port);
    return !source->usb.known || usb_matches(&source->usb, &here);
}

bool serial_reopen(struct up_source *source, struct up_failure *failure) {
    bool found = !is_usb_path(source->path) && follow_path(source, failure) && is_the_same(source);
    if (!found && source->usb.known) {
        found = find_usb_port(&source->usb, source->name, failure);
    } else if (!found) {
        explain_open(source->path, ENOENT, failure);
    }
    return found && open_named(source, failure);
}

void serial_close(struct up_source *source) {
    if (source->port != NULL) {
        ioctl(source->descriptor, TIOCNXCL); /* or it would outlast us while others hold the port */
        sp_close(source->port);
        sp_free_port(source->port);
    }
    if (source->lock >= 0) {
        close(source->lock);
    }
    source->port = NULL;
    source->lock = source->descriptor = -1;
}
