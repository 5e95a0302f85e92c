"""NetCDF after the CF conventions: the flight as a trajectory, its ascent as a profile.

Source: NetCDF Climate and Forecast (CF) Metadata Conventions, version 1.8, chapters 2 to 4 and 9 (appendix H.4
trajectory, H.3 profile); standard names from the CF standard name table.
"""

from datetime import UTC, datetime

import numpy as np

CONVENTIONS = "CF-1.8"
_FILL = -9999.0
# name -> (units, standard name, long name)
_PLACE = {
    "lat": ("degrees_north", "latitude", "latitude, WGS 84"),
    "lon": ("degrees_east", "longitude", "longitude, WGS 84"),
    "altitude": ("m", "altitude", "height above mean sea level"),
}
_MEASURED = {
    "air_pressure": ("hPa", "air_pressure", "air pressure"),
    "air_temperature": ("degC", "air_temperature", "temperature of the outside thermometer"),
    "relative_humidity": ("percent", "relative_humidity", "relative humidity over liquid water"),
    "geopotential_height": ("m", "geopotential_height", "geopotential height"),
    "eastward_wind": ("m s-1", "eastward_wind", "wind towards the east, from the drift"),
    "northward_wind": ("m s-1", "northward_wind", "wind towards the north, from the drift"),
}


def write_trajectory(path, record, track):
    """Write a FlightTrack (with UTC) as a CF trajectory. Needs netCDF4 (ImportError without it).

    Points whose place, time or height is not known are left out: CF 9.6 allows no missing coordinate.
    """
    with _new(path, record, "trajectory") as file:
        known = ~np.isnat(track.utc) & np.isfinite(track.height_m)
        file.createDimension("obs", int(known.sum()))
        name = file.createVariable("trajectory", str, ())
        name[...] = np.array(record.flight, object)
        name.cf_role = "trajectory_id"
        name.long_name = "identity of the flight"
        _time(file, "obs", track.utc[known])
        for variable, values in (
            ("lat", track.latitude_deg), ("lon", track.longitude_deg), ("altitude", track.height_m),
        ):
            _coordinate(file, variable, "obs", values[known])
        for variable, values in (
            ("air_pressure", track.pressure_hpa), ("air_temperature", track.temperature_degc),
            ("relative_humidity", track.humidity_percent),
        ):
            _measured(file, variable, "obs", values[known], "time lat lon altitude")


def write_profile(path, record, levels):
    """Write a sounding (dict of arrays, see ground.export.sounding) as a CF profile. Needs netCDF4."""
    with _new(path, record, "profile") as file:
        known = np.isfinite(levels["height_m"])
        file.createDimension("z", int(known.sum()))
        name = file.createVariable("profile", str, ())
        name[...] = np.array(record.flight, object)
        name.cf_role = "profile_id"
        name.long_name = "identity of the flight"
        utc = levels["start_utc"]
        _time(file, None, np.array([utc])[0] if utc is not None else None)
        for variable in ("lat", "lon"):
            units, standard, long_name = _PLACE[variable]
            made = file.createVariable(variable, "f8", (), fill_value=_FILL)
            made.units, made.standard_name, made.long_name = units, standard, long_name + ", of the launch"
            value = levels[f"start_{variable}"]
            made[...] = _FILL if value is None or not np.isfinite(value) else value
        _coordinate(file, "altitude", "z", levels["height_m"][known])
        for variable, values in (
            ("air_pressure", levels["pressure_hPa"]), ("air_temperature", levels["temperature_degC"]),
            ("relative_humidity", levels["relative_humidity_percent"]),
            ("geopotential_height", levels["geopotential_height_m"]),
            ("eastward_wind", levels["wind_east_m_s"]), ("northward_wind", levels["wind_north_m_s"]),
        ):  # fmt: skip
            _measured(file, variable, "z", values[known], "time lat lon altitude")


def _new(path, record, feature):
    import netCDF4

    file = netCDF4.Dataset(path, "w", format="NETCDF4")
    now = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
    file.Conventions = CONVENTIONS
    file.featureType = feature
    file.title = f"Balloon flight {record.flight} of {record.payload or 'an unnamed payload'}"
    file.institution = "amateur balloon flight"
    file.source = "in-situ balloon flight, the payload's own log"
    file.history = f"{now} written by Loftbook from the recovered log"
    file.references = "none"
    file.comment = "Wind is from the drift of the payload; temperature is not corrected for sunlight"
    return file


def _time(file, dimension, utc):
    made = file.createVariable("time", "f8", (dimension,) if dimension else (), fill_value=None if dimension else _FILL)
    made.standard_name, made.long_name = "time", "time of the measurement"
    made.units, made.calendar = "seconds since 1970-01-01 00:00:00 UTC", "standard"
    if dimension:
        made.axis = "T"
        made[:] = utc.astype(np.int64) / 1000.0
    else:
        made[...] = _FILL if utc is None else utc.astype(np.int64) / 1000.0


def _coordinate(file, variable, dimension, values):
    units, standard, long_name = _PLACE[variable]
    made = file.createVariable(variable, "f8", (dimension,), zlib=True)
    made.units, made.standard_name, made.long_name = units, standard, long_name
    if variable == "altitude":
        made.positive, made.axis = "up", "Z"
    made[:] = values


def _measured(file, variable, dimension, values, coordinates):
    units, standard, long_name = _MEASURED[variable]
    made = file.createVariable(variable, "f4", (dimension,), zlib=True, fill_value=np.float32(_FILL))
    made.units, made.standard_name, made.long_name = units, standard, long_name
    made.coordinates = coordinates
    # What a float of four bytes cannot hold is no measurement. NaN compares as false.
    made[:] = np.where(np.abs(values) < np.finfo(np.float32).max, values, _FILL)
