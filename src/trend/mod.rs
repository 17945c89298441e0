//! Statistics of decline: functions of points and settings, without IO, clock, store or log.
