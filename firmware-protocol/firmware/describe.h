/* What the controller says of itself, topic by topic (LINE-25). */
#ifndef DESCRIBE_H
#define DESCRIBE_H

#include <stdint.h>

#include "request.h"

/* Writes the fields of a topic; `starts`: the number of this start. */
void describe_topic(enum topic topic, uint32_t starts);

#endif
