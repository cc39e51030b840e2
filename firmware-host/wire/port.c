/* SPDX-License-Identifier: GPL-3.0-or-later */
/* The list of serial ports, and the one among them that a USB identity means. */
#include "wire/port.h"

#include <ctype.h>
#include <libserialport.h>
#include <stdlib.h>
#include <string.h>

#include "internal.h"
#include "text/text.h"

const char *up_transport_name(enum up_transport transport) {
    static const char *const names[] = {"native", "usb", "bluetooth"};
    return names[transport];
}

static void copy(char to[UP_PORT_TEXT], const char *text) {
    snprintf(to, UP_PORT_TEXT, "%s", text != NULL ? text : "");
}

static void describe(const struct sp_port *from, struct up_port *port) {
    enum sp_transport transport = sp_get_port_transport(from);
    port->usb_vendor = port->usb_product = -1;
    port->transport = transport == SP_TRANSPORT_USB         ? UP_TRANSPORT_USB
                      : transport == SP_TRANSPORT_BLUETOOTH ? UP_TRANSPORT_BLUETOOTH
                                                            : UP_TRANSPORT_NATIVE;
    copy(port->name, sp_get_port_name(from));
    copy(port->description, sp_get_port_description(from));
    if (sp_get_port_usb_vid_pid(from, &port->usb_vendor, &port->usb_product) != SP_OK) {
        port->usb_vendor = port->usb_product = -1;
    }
    copy(port->usb_serial, sp_get_port_usb_serial(from));
    copy(port->manufacturer, sp_get_port_usb_manufacturer(from));
}

bool up_ports_list(struct up_port **ports, size_t *count, struct up_failure *failure) {
    struct sp_port **list;
    size_t found = 0;
    *ports = NULL;
    *count = 0;
    if (sp_list_ports(&list) != SP_OK) {
        return up_fail(failure, UP_STATUS_UNABLE, "the system does not list its serial ports");
    }
    while (list[found] != NULL) {
        found++;
    }
    *ports = up_allocate(found + 1, sizeof **ports);
    for (size_t i = 0; i < found; i++) {
        describe(list[i], &(*ports)[i]);
    }
    *count = found;
    sp_free_port_list(list);
    return true;
}

/* ---- USB identities ---- */

static bool hex_of_four(const char *text, int *value) {
    char digits[5] = {0};
    for (int i = 0; i < 4; i++) {
        if (!isxdigit((unsigned char)text[i])) {
            return false;
        }
        digits[i] = text[i];
    }
    *value = (int)strtol(digits, NULL, 16);
    return true;
}

bool parse_usb_path(const char *path, struct usb_identity *usb, struct up_failure *failure) {
    const char *text = path + strlen("usb:");
    bool good = hex_of_four(text, &usb->vendor) && text[4] == ':' &&
                hex_of_four(text + 5, &usb->product) && (text[9] == ':' || text[9] == '\0');
    const char *serial = good && text[9] == ':' ? text + 10 : "";
    usb->known = true;
    if (!good || (text[9] == ':' && serial[0] == '\0') || strlen(serial) >= sizeof usb->serial) {
        return up_fail(failure, UP_STATUS_WRONG_INPUT,
                       "port %s: write usb:VENDOR:PRODUCT or usb:VENDOR:PRODUCT:SERIAL, vendor and "
                       "product in four hex digits each",
                       path);
    }
    memcpy(usb->serial, serial, strlen(serial) + 1);
    return true;
}

void identify_port(const struct sp_port *port, struct usb_identity *usb) {
    memset(usb, 0, sizeof *usb);
    usb->known = sp_get_port_usb_vid_pid(port, &usb->vendor, &usb->product) == SP_OK;
    copy(usb->serial, sp_get_port_usb_serial(port));
}

bool usb_matches(const struct usb_identity *wanted, const struct usb_identity *found) {
    return found->known && wanted->vendor == found->vendor && wanted->product == found->product &&
           (wanted->serial[0] == '\0' || strcmp(wanted->serial, found->serial) == 0);
}

bool find_usb_port(const struct usb_identity *usb, char name[PORT_NAME_SIZE],
                   struct up_failure *failure) {
    struct sp_port **list;
    int found = 0;
    if (sp_list_ports(&list) != SP_OK) {
        return up_fail(failure, UP_STATUS_UNABLE, "the system does not list its serial ports");
    }
    for (int i = 0; list[i] != NULL; i++) {
        struct usb_identity here;
        identify_port(list[i], &here);
        if (usb_matches(usb, &here) && ++found == 1) {
            snprintf(name, PORT_NAME_SIZE, "%s", sp_get_port_name(list[i]));
        }
    }
    sp_free_port_list(list);
    if (found > 1) {
        return up_fail(failure, UP_STATUS_UNABLE,
                       "%d ports answer to usb:%04x:%04x%s%s: add the serial number, or give the "
                       "path of the right one under /dev/serial/by-path",
                       found, (unsigned)usb->vendor, (unsigned)usb->product,
                       usb->serial[0] != '\0' ? ":" : "", usb->serial);
    }
    return found == 1 ||
           up_fail(failure, UP_STATUS_UNABLE,
                   "there is no port usb:%04x:%04x%s%s: check that the device is plugged in",
                   (unsigned)usb->vendor, (unsigned)usb->product, usb->serial[0] != '\0' ? ":" : "",
                   usb->serial);
}
