//! RECORD: devices, clocks, the recording loop and its status line.
