@echo off
rem Opens the coordinator's page in the browser; started by a double click on Windows. The first start makes the environment.
pushd "%~dp0"
where py >nul 2>nul
if errorlevel 1 (python run.py desk %*) else (py run.py desk %*)
if errorlevel 1 pause
popd
