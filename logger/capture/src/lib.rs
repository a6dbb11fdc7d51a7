//! WHAT ARRIVED: the capture format and the pure decoders of what devices send.
