/* SPDX-License-Identifier: GPL-3.0-or-later */
/*
 * The serial ports of this machine.
 */
#pragma once

#include <stddef.h>

#include "upthrust/failure.h"

enum { UP_PORT_TEXT = 128 };

enum up_transport { UP_TRANSPORT_NATIVE, UP_TRANSPORT_USB, UP_TRANSPORT_BLUETOOTH };

/* The texts come from the device: raw bytes, cut to fit, to be escaped for where they go. */
struct up_port {
    char name[UP_PORT_TEXT]; /* the device node, as a rig file's path takes it */
    char description[UP_PORT_TEXT];
    enum up_transport transport;
    int usb_vendor, usb_product; /* -1 where there are none */
    char usb_serial[UP_PORT_TEXT], manufacturer[UP_PORT_TEXT];
};

/* "native", "usb", "bluetooth" */
const char *up_transport_name(enum up_transport transport);

/* All serial ports, pseudo-terminals not among them, in no order. The caller frees *ports. A port
   may be gone by the time it is opened. */
bool up_ports_list(struct up_port **ports, size_t *count, struct up_failure *failure);
