/* SPDX-License-Identifier: GPL-3.0-or-later */
/* What the files of wire/ share and nobody else needs. */
#pragma once

#include "upthrust/wire.h"
#include "wire/port.h"

struct sp_port;

enum { PORT_NAME_SIZE = 512 };

/* What identifies a USB adapter when it returns under another name. */
struct usb_identity {
    bool known;
    int vendor, product;
    char serial[UP_PORT_TEXT]; /* empty: any; some adapters have none */
};

struct up_source {
    enum up_port_kind kind;
    int descriptor; /* -1 while a lost device is away */
    char path[PORT_NAME_SIZE];
    /* of kind serial */
    struct up_port_settings settings;
    struct sp_port *port;
    int lock;                  /* its own descriptor, -1 where there is none */
    char name[PORT_NAME_SIZE]; /* the device node that was opened last */
    struct usb_identity usb;   /* of the port that was opened first */
};

/* device.c: says why a device cannot be opened, and what to do; returns false. */
bool explain_open(const char *path, int error, struct up_failure *failure);
/* One program at a time: two of them would share out the bytes. */
bool lock_device(int descriptor, const char *path, struct up_failure *failure);
/* Raw bytes both ways, whatever the terminal did before. False where it is none. */
bool make_raw_device(int descriptor);

/* port.c */
bool parse_usb_path(const char *path, struct usb_identity *usb, struct up_failure *failure);
/* The device node of the one port that answers to it. */
bool find_usb_port(const struct usb_identity *usb, char name[PORT_NAME_SIZE],
                   struct up_failure *failure);
void identify_port(const struct sp_port *port, struct usb_identity *usb);
bool usb_matches(const struct usb_identity *wanted, const struct usb_identity *found);

/* serial.c: fills descriptor, port, lock, name; where it fails nothing is left open. */
bool serial_open(struct up_source *source, struct up_failure *failure);
bool serial_reopen(struct up_source *source, struct up_failure *failure);
void serial_close(struct up_source *source);
