/// Change count of a run's study after this transaction, for statements on runs.
#pragma once

#define GYREBOX_NEXT_CHANGE "(SELECT change + 1 FROM study WHERE id = run.study)"
